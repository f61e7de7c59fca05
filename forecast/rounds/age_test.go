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
