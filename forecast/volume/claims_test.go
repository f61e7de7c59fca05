package volume

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What rounds teach, as the guide says: of five the group's own records weigh about as
// much as the handbook, of ten they take 40 % off the error of the yield.
func TestWhatRoundsTeach(t *testing.T) {
	const seasons = 1000
	for n, want := range map[int]struct{ least, most, ownLeast, ownMost float64 }{5: {0.22, 0.32, 0.4, 0.6}, 10: {0.36, 0.46, 0.58, 0.72}} {
		rng := rand.New(rand.NewPCG(7, uint64(n)))
		priors := priorsOf(1)
		before, err := learnHere(priors, nil)
		if err != nil {
			t.Fatal(err)
		}
		var crpsBefore, crpsAfter, left float64
		for range seasons {
			truth := drawTruth(rng, priors)
			var visits []Visit
			for k := range n {
				visits = append(visits, truth.visit(rng, 0, float64(k)/8))
			}
			p, err := learnHere(priors, visits)
			if err != nil {
				t.Fatal(err)
			}
			yield := math.Exp(truth.yields[0])
			crpsBefore += crpsOfYield(before, yield, rng)
			crpsAfter += crpsOfYield(p, yield, rng)
			_, sd := p.LogYield(0)
			left += sd * sd / priors[0].LogSD / priors[0].LogSD / seasons
		}
		off, own := 1-crpsAfter/crpsBefore, 1-left
		t.Logf("%d visits: %.0f %% off, own records weigh %.0f %%", n, 100*off, 100*own)
		if off < want.least || off > want.most || own < want.ownLeast || own > want.ownMost {
			t.Errorf("%d visits: %.2f off, own %.2f", n, off, own)
		}
	}
}
