package volume

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A bush's own yield, seen through a season's chance and a sum's: the gain of a Kalman
// filter is the share of all variance that is the bush's (Gelman et al., Bayesian Data
// Analysis, section 2.5, from memory).
func TestAfterSeason(t *testing.T) {
	b := Belief{LogMean: 0.2, LogSD: 0.5, DayLogSD: 0.6}
	own := 0.5*0.5 - seasonLog*seasonLog
	gain := own / (own + seasonLog*seasonLog + sumLog*sumLog)
	seen := UsualSeasonL * math.Exp(0.8+0.18)
	if after := b.AfterSeason(seen); math.Abs(after.LogMean-(0.2+gain*0.6)) > 1e-12 ||
		math.Abs(after.LogSD-math.Sqrt(own*(1-gain)+seasonLog*seasonLog)) > 1e-12 || after.DayLogSD != 0.6 {
		t.Errorf("%+v", after)
	}
	// Bushes as far apart as the handbook's belief has them, and years as the sums
	// stray: ten sums bring the belief nearer to the bush.
	random := rand.New(rand.NewPCG(1, 2))
	var before, after float64
	for range 2000 {
		b := Prior(Pail)
		bush := b.LogMean + b.LogSD*random.NormFloat64()
		before += square(b.LogMean - bush)
		for range 10 {
			b = b.AfterSeason(UsualSeasonL * math.Exp(bush+0.18+sumLog*random.NormFloat64()))
		}
		after += square(b.LogMean - bush)
	}
	t.Logf("error of the log yield %.2f before, %.2f after ten sums", math.Sqrt(before/2000), math.Sqrt(after/2000))
	if after > 0.5*before {
		t.Error("sums teach nothing")
	}
}
