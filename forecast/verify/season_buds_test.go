package verify

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/season"
)

// Buds as a second witness of the end of good sap: the predicted opening of leaf buds, less
// what the other seasons ended before it, mixed into warmth's belief. They follow the same
// air, and by neither town's air does any share take a twentieth off the CRPS in the
// mean: the hazard is warmth's alone, and buds end a season only where people saw them open.
func TestBudsAddNothingToWarmth(t *testing.T) {
	shares := []float64{0, 0.25, 0.5, 1}
	sums := make([]float64, len(shares))
	for _, town := range []string{"madison", "milwaukee"} { // near Winter too few ends are uncensored
		b := seasonBacktest{weather: townsDays(t, town), o: &SeasonOptions{Place: "east Wisconsin", KnownTo: askedInMarch, LatitudeDeg: 44}}
		if err := b.choose(&SeasonResult{}, endsOfMakers(t)); err != nil {
			t.Fatal(err)
		}
		buds := season.SugarMaple(44)
		for _, date := range askedInMarch {
			scores := make([][]float64, len(shares))
			for i, e := range b.ends {
				at := on(date, e.On.Year())
				g := b.learnt(i)
				warm := g.Ends(at, b.courses(at, 0))
				warm = warm.After(at)
				var gaps []float64
				for k, other := range b.ends {
					whole := b.spring(on(date, other.On.Year()), 100)
					o, ok := buds.Ahead(on(date, other.On.Year()), &whole, 300)
					if k != i && !other.Censored && ok {
						gaps = append(gaps, o.Mean()-float64(other.On.YearDay()))
					}
				}
				spring := b.spring(at, 0)
				opening, ok := buds.Ahead(at.AddDate(0, 0, 1), &spring, 300)
				if !ok || len(gaps) < 2 {
					t.Fatalf("%s: no buds of %d", town, e.On.Year())
				}
				law := distuv.Normal{Mu: opening.Mean() - average(gaps), Sigma: math.Hypot(5, rootMeanSquare(off(gaps, average(gaps))))}
				for s, share := range shares {
					scores[s] = append(scores[s], dayCRPS(func(d time.Time) float64 {
						before := law.CDF(float64(at.YearDay()) + 0.5)
						p := max(law.CDF(float64(d.YearDay())+0.5)-before, 0) / max(1-before, 1e-9)
						return (1-share)*warm.By(d) + share*p
					}, e))
				}
			}
			for s := range shares {
				sums[s] += average(scores[s]) / 4
			}
		}
	}
	t.Logf("CRPS by the share of buds %v: %.2f days", shares, sums)
	for s := range shares {
		if sums[s] < 0.95*sums[0] {
			t.Errorf("a share of %g takes the CRPS from %.2f to %.2f days", shares[s], sums[0], sums[s])
		}
	}
}

func off(x []float64, mean float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		out[i] = x[i] - mean
	}
	return out
}
