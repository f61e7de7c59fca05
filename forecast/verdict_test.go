package forecast

import (
	"math"
	"testing"
)

// A chance is never shown as one that has another verdict, and never further off than a whole
// per cent.
func TestShownChanceKeepsItsVerdict(t *testing.T) {
	for p := 0.0; p <= 1; p += 0.0007 {
		if got := Shown(p); VerdictOf(got) != VerdictOf(p) || math.Abs(got-p) >= 0.01 {
			t.Errorf("%g is shown as %g", p, got)
		}
	}
	if Shown(0.547) != 0.54 || Shown(0.55) != 0.55 || Shown(0.604) != 0.6 || Shown(0.606) != 0.61 {
		t.Error(Shown(0.547), Shown(0.55), Shown(0.604), Shown(0.606))
	}
}
