package rounds

import (
	"math"
	"testing"
	"time"
)

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
	var p Pail
	for range 10 {
		p.Hour(0.2, -6)
	}
	if p.IceL < 0.4 || math.Abs(p.IceL+p.LiquidL-2) > 1e-9 {
		t.Errorf("%+v", p)
	}
	ice := p.IceL
	if l := p.Empty(); math.Abs(l+ice-2) > 1e-9 || p.IceL != ice {
		t.Errorf("%.2f L out, %+v left", l, p)
	}
	for range 40 {
		p.Hour(0, 8)
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
	if MixedAge(nil, nil) != 0 {
		t.Error("no sap has an age")
	}
}
