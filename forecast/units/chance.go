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

// InTen is a probability as so many times in ten, 1 to 9, rounded down: it never claims
// more than it knows.
func InTen(p float64) int {
	const nearly = 1e-9 // 0.8 is eight in ten however it was worked out
	return min(max(int(p*10+nearly), 1), 9)
}
