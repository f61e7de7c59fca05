package records

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// Sap that ran in is found again from a noisy gauge, through drawings-off. The
// truth is known because the course is made here.
func TestRisenFindsWhatRanIn(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for range 200 {
		const tankL = 600.0
		at, stands, truth := time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC), 40+rng.Float64()*100, 0.0
		var levels []Level
		for range 96 {
			at = at.Add(15 * time.Minute)
			if in := 12 * rng.Float64(); rng.Float64() < 0.6 && stands+in < 560 {
				stands += in
				truth += in
			}
			if rng.Float64() < 0.03 && stands > 150 {
				stands = 20
			}
			levels = append(levels, Level{at, stands + rng.Float64()*4 - 2})
		}
		got, _, atLeast := Risen(levels, tankL)
		if math.Abs(got-truth) > 0.06*tankL || atLeast {
			t.Fatalf("%.0f L of %.0f, at least: %v", got, truth, atLeast)
		}
	}
}

func TestRisenKnowsItsLimits(t *testing.T) {
	at := func(h float64) time.Time {
		return time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC).Add(time.Duration(h * float64(time.Hour)))
	}
	for name, c := range map[string]struct {
		levels  []Level
		want    float64
		atLeast bool
	}{
		"nothing read":          {nil, 0, false},
		"one reading":           {[]Level{{at(1), 300}}, 0, false},
		"noise of a still tank": {[]Level{{at(1), 300}, {at(2), 305}, {at(3), 297}, {at(4), 302}}, 0, false},
		"drawn off at noon":     {[]Level{{at(10), 100}, {at(11), 160}, {at(12), 10}, {at(13), 50}}, 100, false},
		"silent for a night":    {[]Level{{at(1), 100}, {at(9), 160}}, 60, true},
		"stood full":            {[]Level{{at(1), 500}, {at(2), 600}}, 100, true},
	} {
		if got, _, atLeast := Risen(c.levels, 600); got != c.want || atLeast != c.atLeast {
			t.Errorf("%s: %g %v", name, got, atLeast)
		}
	}
}
