package volume

import (
	"math"
	"math/rand/v2"
	"testing"
)

// One season says little of the next, whatever it gave; seasons that keep to themselves say
// more with each, and seasons that stray never do.
func TestSteadyBushesAreLearnt(t *testing.T) {
	const far, records = 0.7, 0.15 // log yields off the handbook's; what a season's records leave open
	learnt := func(seasons ...float64) Belief {
		b := Prior(Pail)
		for _, off := range seasons {
			y := Prior(Pail).LogMean + off
			known, told := 1/square(b.LogSD), 1/square(records)
			b = b.after((known*b.LogMean+told*y)/(known+told), math.Sqrt(1/(known+told)))
		}
		return b
	}
	share := func(b Belief) float64 { return (b.LogMean - Prior(Pail).LogMean) / far }
	one, steady := learnt(far), learnt(far, far+0.1, far-0.1, far, far)
	wild := learnt(far+0.6, far-0.6, far+0.6, far-0.6, far)
	t.Logf("after one season %.2f of the way ± %.2f, after five steady ones %.2f ± %.2f, after five that stray %.2f ± %.2f", share(one), one.LogSD,
		share(steady), steady.LogSD, share(wild), wild.LogSD)
	if s := share(one); s > 0.15 || s < 0.05 || one.LogSD < 0.35 {
		t.Errorf("one season: %.2f ± %.2f", s, one.LogSD)
	}
	if s := share(steady); s < 0.75 || s > 1 || steady.LogSD > 0.3 {
		t.Errorf("five steady seasons: %.2f ± %.2f", s, steady.LogSD)
	}
	if s := share(wild); s > 0.5 || wild.LogSD < 0.38 {
		t.Errorf("five seasons that stray: %.2f ± %.2f", s, wild.LogSD)
	}
	// A season whose records say nothing leaves all as it was.
	if b := one.after(one.LogMean, one.LogSD); b.LogMean != one.LogMean || b.LogSD != one.LogSD || len(b.Before.Seasons) != 1 {
		t.Errorf("%+v", b)
	}
}

// What is held of the next season is as sure as it should be, for steady bushes, for wild
// ones and for any between: of invented bushes four in five next seasons lie in the range,
// and ten seasons foretell better than one, and one no worse than none.
func TestYearsForetellTheNext(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, season := range []float64{0.13, 0.25, 0.38} { // Wisconsin's six sums; between; nearly all
		held, err := map[int]float64{}, map[int]float64{}
		const bushes = 2000
		for range bushes {
			b := Prior(Pail)
			own := b.LogMean + math.Sqrt(square(b.LogSD)-square(season))*rng.NormFloat64()
			for n := range 11 {
				y := own + season*rng.NormFloat64()
				if math.Abs(y-b.LogMean) < 1.2816*b.LogSD {
					held[n] += 1. / bushes
				}
				err[n] += square(y-b.LogMean) / bushes
				told := 0.15
				seen := y + told*rng.NormFloat64()
				known, said := 1/square(b.LogSD), 1/square(told)
				b = b.after((known*b.LogMean+said*seen)/(known+said), math.Sqrt(1/(known+said)))
			}
		}
		t.Logf("seasons stray by %.2f: error %.3f of the first, %.3f after one, %.3f after three, %.3f after ten; %.2f, %.2f, %.2f, %.2f in range",
			season, math.Sqrt(err[0]), math.Sqrt(err[1]), math.Sqrt(err[3]), math.Sqrt(err[10]), held[0], held[1], held[3], held[10])
		for _, n := range []int{0, 1, 3, 10} {
			if held[n] < 0.74 || held[n] > 0.99 {
				t.Errorf("%.2f, after %d seasons: %.2f in range", season, n, held[n])
			}
		}
		if err[1] > 1.01*err[0] || err[10] > 1.05*err[1] || season < 0.2 && err[10] > 0.3*err[0] {
			t.Errorf("%.2f: squares %v", season, err)
		}
	}
}
