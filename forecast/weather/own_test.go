package weather

import (
	"math"
	"math/rand/v2"
	"testing"
)

// daysOf are lows and highs of a bush with strays of 1.5 K, every third night clear.
func daysOf(n int, lowK, highK, clearK float64, rng *rand.Rand) []Beside {
	var out []Beside
	for i := range n {
		clear := 0.0
		if i%3 == 0 {
			clear = 1
		}
		out = append(out, Beside{ErrorK: lowK + clearK*(clear-usualClear) + 1.5*rng.NormFloat64(), Clear: clear},
			Beside{High: true, ErrorK: highK + 1.5*rng.NormFloat64()})
	}
	return out
}

// Before a thermometer hangs what was held stays; a few nights move it a little, many to
// where the bush is, lows and highs apart; and the law is as wide as it errs.
func TestOwnOffsetIsLearnt(t *testing.T) {
	if o := LearnOwn(-0.5, 0.8, nil); o.LowK != -0.5 || o.HighK != -0.5 || math.Abs(o.LowSDK-0.8) > 1e-9 || o.Lows+o.Highs != 0 ||
		o.ClearK != 0 {
		t.Errorf("without a thermometer: %v", o)
	}
	rng := rand.New(rand.NewPCG(3, 1))
	var errs, z2, apart float64
	const bushes = 200
	for range bushes {
		low, high := rng.NormFloat64(), rng.NormFloat64()
		high = togetherR*low + math.Sqrt(1-togetherR*togetherR)*high
		o := LearnOwn(0, 1, daysOf(12, low, high, 0, rng))
		errs += (o.LowK - low) * (o.LowK - low) / bushes
		z2 += (o.LowK - low) * (o.LowK - low) / (o.LowSDK * o.LowSDK) / bushes
		apart += (o.HighK - high) * (o.HighK - high) / bushes
	}
	if math.Sqrt(errs) > 0.5 || math.Sqrt(apart) > 0.5 || z2 < 0.7 || z2 > 1.4 {
		t.Errorf("after 12 days lows are %.2f K off, highs %.2f K; squares by the law's own %.2f", math.Sqrt(errs), math.Sqrt(apart), z2)
	}
	few, many := LearnOwn(0, 1, daysOf(2, -2, -2, 0, rng)), LearnOwn(0, 1, daysOf(60, -2, 0, -2, rng))
	if few.WholeK() > -0.3 || few.WholeK() < -1.9 || few.WholeSDK < many.WholeSDK {
		t.Errorf("two days: %.2f ± %.2f K", few.WholeK(), few.WholeSDK)
	}
	if math.Abs(many.LowK+2) > 0.5 || math.Abs(many.HighK) > 0.5 || math.Abs(many.ClearK+2) > 0.8 || many.Lows != 60 {
		t.Errorf("sixty days: low %.2f, high %.2f, clear %.2f K", many.LowK, many.HighK, many.ClearK)
	}
}

// A day in the sun, a slip of the pen and a gap do not carry the offset away.
func TestOwnOffsetOutlivesSlips(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	days := daysOf(15, -1, -1, 0, rng)
	clean := LearnOwn(0, 1, days)
	days = append(days, Beside{ErrorK: 25, Clear: math.NaN()}, Beside{High: true, ErrorK: math.NaN()})
	o := LearnOwn(0, 1, days)
	if math.Abs(o.LowK-clean.LowK) > 0.35 || o.Highs != 15 || o.Lows != 16 {
		t.Errorf("%.2f K, without the slip %.2f K", o.LowK, clean.LowK)
	}
	// A thermometer read at dawn alone says less of the highs.
	var lows []Beside
	for i := range days {
		if !days[i].High {
			lows = append(lows, days[i])
		}
	}
	if l := LearnOwn(0, 1, lows[:15]); l.HighK > -0.1 || l.HighK < l.LowK || l.HighSDK < 1.5*l.LowSDK {
		t.Errorf("lows alone: %.2f ± %.2f, highs %.2f ± %.2f K", l.LowK, l.LowSDK, l.HighK, l.HighSDK)
	}
}
