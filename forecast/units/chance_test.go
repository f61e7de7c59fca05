package units

import "testing"

// A chance never claims to be certain, either way.
func TestChanceIsNeverCertain(t *testing.T) {
	for p, want := range map[float64]string{0: "<1\u00a0%", 0.004: "<1\u00a0%", 0.005: "1\u00a0%", 0.5: "50\u00a0%", 0.994: "99\u00a0%",
		0.996: ">99\u00a0%", 1: ">99\u00a0%"} {
		if got := Chance(p); got != want {
			t.Errorf("%g: %s", p, got)
		}
	}
	for p, want := range map[float64]int{0: 1, 0.04: 1, 0.549: 5, 0.55: 6, 0.599: 6, 0.6: 6, 0.79: 8, 0.849: 8, 0.9: 9, 0.96: 9, 1: 9} {
		if got := InTen(p); got != want {
			t.Errorf("%g: %d in ten", p, got)
		}
	}
}
