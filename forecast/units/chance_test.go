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
	for p, want := range map[float64]int{0: 1, 0.79: 7, 0.8: 8, 0.89: 8, 0.9: 9, 1: 9} {
		if got := InTen(p); got != want {
			t.Errorf("%g: %d in ten", p, got)
		}
	}
}
