package rounds

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// The relative rate of growth is (1 + T/10)² of that at 0 °C, below which it does not fall
// until sap freezes (Olley and Ratkowsky, from memory).
func TestWarmthAges(t *testing.T) {
	for c, want := range map[float64]float64{-10: 0, -1.01: 0, -1: 1, -0.5: 1, 0: 1, 5: 2.25, 10: 4, 20: 9} {
		if got := AgeRate(c); math.Abs(got-want) > 1e-12 {
			t.Errorf("%.2f °C: %g, want %g", c, got, want)
		}
	}
	// A week at 3.33 °C uses all of it up.
	if got := 7 * 24 * LifePerHour(3.33, 1); math.Abs(got-1) > 1e-9 {
		t.Errorf("a week takes %.4f", got)
	}
	if LifePerHour(0, 0.5) != 2*LifePerHour(0, 1) {
		t.Error("sap keeps as long in foul vessels")
	}
}

// A tank follows the air, whose last day's mean goes on.
func TestBoilByHourByHour(t *testing.T) {
	from := time.Date(2026, 3, 20, 10, 0, 0, 0, time.UTC)
	rng := rand.New(rand.NewPCG(4, 4))
	for n := range 300 {
		air := make([]float64, 1+rng.IntN(90))
		for h := range air {
			air[h] = -8 + 16*rng.Float64() + float64(n%20)
		}
		last := air[max(len(air)-24, 0):]
		goesOn := max(mean(last), 0)
		used, lag, hygiene := 1.1*rng.Float64(), 12*rng.Float64(), 0.3+rng.Float64()
		sap, age, unfrozen, hours := max(air[0], -3), used, 0, 0
		for ; hours == 0 || age < 1 && unfrozen < 168; hours++ {
			c := goesOn
			if hours < len(air) {
				c = air[hours]
			}
			keeps := math.Exp(-1 / max(lag, 1))
			if sap = keeps*sap + (1-keeps)*max(c, -3); sap >= -1 {
				unfrozen++
				age += AgeRate(sap) / (168 * 1.333 * 1.333 * hygiene)
			}
		}
		if got := BoilBy(from, used, air, lag, hygiene); !got.Equal(from.Add(time.Duration(hours) * time.Hour)) {
			t.Fatalf("%d hours of air: %s, not %d hours", len(air), got.Sub(from), hours)
		}
	}
	if got := BoilBy(from, 0, nil, 1, 1); !got.Equal(from) {
		t.Errorf("of no air sap keeps until %s", got)
	}
}

// A week at 3.3 °C, six days at 4.4, three at 10, in clean vessels: extension
// rule and Olley-Ratkowsky, worked by hand (from memory).
func TestSapKeepsAsLongAsTheRuleSays(t *testing.T) {
	morning := time.Date(2026, 3, 20, 10, 0, 0, 0, time.UTC)
	for c, days := range map[float64]float64{3.33: 7, 4.4: 6, 10: 3.1, 20: 1.4} {
		air := make([]float64, 24*20)
		for i := range air {
			air[i] = c
		}
		got := BoilBy(morning, 0, air, 1, TankHygiene).Sub(morning).Hours() / 24
		if math.Abs(got-days) > 0.15 {
			t.Errorf("%.1f °C: %.2f days, want %.1f", c, got, days)
		}
	}
	if BoilBy(morning, 0.9, []float64{20}, 1, 1).Sub(morning) > 5*time.Hour {
		t.Error("old sap keeps as long as fresh")
	}
}

func TestPailKeepsItsIce(t *testing.T) {
	const anHour = 0.8 * 3600 / 333_550 // kg that a kelvin melts in an hour
	for _, c := range []struct {
		flow, air float64
		was, is   Pail
	}{
		{0.2, -6, Pail{}, Pail{0.2 - 6*anHour, 6 * anHour}},
		{0.01, -6, Pail{}, Pail{0, 0.01}},
		{0, 5, Pail{1, 1}, Pail{1 + 5*anHour, 1 - 5*anHour}},
		{0, 8, Pail{1, 0.01}, Pail{1.01, 0}},
	} {
		if c.was.Hour(c.flow, Melts(c.air)); math.Abs(c.was.LiquidL-c.is.LiquidL) > 1e-12 || math.Abs(c.was.IceL-c.is.IceL) > 1e-12 {
			t.Errorf("%g L at %g °C: %+v, not %+v", c.flow, c.air, c.was, c.is)
		}
	}
	var p Pail
	for range 10 {
		p.Hour(0.2, Melts(-6))
	}
	if p.IceL < 0.4 || math.Abs(p.IceL+p.LiquidL-2) > 1e-9 {
		t.Errorf("%+v", p)
	}
	ice := p.IceL
	if l := p.Empty(); math.Abs(l+ice-2) > 1e-9 || p.IceL != ice {
		t.Errorf("%.2f L out, %+v left", l, p)
	}
	for range 40 {
		p.Hour(0, Melts(8))
	}
	if p.IceL > 0 || math.Abs(p.LiquidL-ice) > 1e-9 {
		t.Errorf("%+v", p)
	}
}

// Frozen sap does not age: a fortnight in hard frost takes nothing of its life, and the week
// that the rule speaks of is counted unfrozen (common practice).
func TestIceStopsAgeing(t *testing.T) {
	at := time.Date(2026, 2, 1, 10, 0, 0, 0, time.UTC)
	thaw := func(frost int) float64 {
		air := make([]float64, 24*40)
		for i := range air {
			if air[i] = 3.33; i < 24*frost {
				air[i] = -10
			}
		}
		return BoilBy(at, 0, air, 4, PailHygiene).Sub(at).Hours()/24 - float64(frost)
	}
	if without, after := thaw(0), thaw(14); math.Abs(after-without) > 0.5 {
		t.Errorf("%.1f days without frost, %.1f days after a fortnight of it", without, after)
	}
	if LifePerHour(-5, 1) != 0 || LifePerHour(-0.5, 1) <= 0 {
		t.Error("ice ages, or slush does not")
	}
}

// A little old sap ages much fresh sap by more than its share and less than its own age:
// counts of microbes add up.
func TestMixedSapIsAsOldAsItsMicrobes(t *testing.T) {
	if age := MixedAge([]float64{1, 99}, []float64{1, 0.2}); age < 0.4 || age > 0.6 {
		t.Errorf("a hundredth of bad sap in fresh: %.2f", age)
	}
	if age := MixedAge([]float64{50, 50}, []float64{0.3, 0.3}); math.Abs(age-0.3) > 1e-9 {
		t.Errorf("alike sap: %.2f", age)
	}
	// A thousand and ten million in a millilitre mix to five million, which is 0.925 of the way.
	if age, want := MixedAge([]float64{50, 50}, []float64{0, 1}), math.Log(5000.5)/math.Log(1e4); math.Abs(age-want) > 1e-9 {
		t.Errorf("half of bad sap in clean: %.3f, not %.3f", age, want)
	}
	if age := MixedAge([]float64{50, 50}, []float64{-1, -1}); age != 0 {
		t.Errorf("younger than fresh: %.2f", age)
	}
	if MixedAge(nil, nil) != 0 {
		t.Error("no sap has an age")
	}
}
