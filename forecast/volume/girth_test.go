package volume

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// A tap's yield rises with the stem, and is never less than 0.6 nor more than three times a
// usual one's, whatever somebody writes; a width that nobody has said, and the usual one,
// change nothing to the last bit.
func TestGirthRisesWithinBounds(t *testing.T) {
	for _, m := range []float64{0, -1, math.NaN(), UsualStemM} {
		if g := Girth(m); g != 1 {
			t.Errorf("%v m: %v", m, g)
		}
		if b := Prior(Pail); b.InStems(m) != b {
			t.Errorf("%v m moves what is held", m)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.01, 3).Draw(t, "stem")
		b := rapid.Float64Range(a, 3).Draw(t, "thicker stem")
		if Girth(a) > Girth(b) || Girth(a) < 0.6-1e-9 || Girth(b) > 3+1e-9 {
			t.Fatalf("%.2f m: %.3f, %.2f m: %.3f", a, Girth(a), b, Girth(b))
		}
		if before, after := Prior(TubingVacuum), Prior(TubingVacuum).InStems(a); after.LogSD != before.LogSD ||
			after.DayLogSD != before.DayLogSD || math.Abs(math.Exp(after.LogMean-before.LogMean)-Girth(a)) > 1e-9 {
			t.Fatalf("%.2f m: %+v", a, after)
		}
	})
}
