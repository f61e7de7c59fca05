package units

import "fmt"

// Chance is a probability in whole per cent; it never claims to be certain.
func Chance(p float64) string {
	switch percent := int(p*100 + 0.5); {
	case percent < 1:
		return "<1\u00a0%"
	case percent > 99:
		return ">99\u00a0%"
	default:
		return fmt.Sprintf("%d\u00a0%%", percent)
	}
}
