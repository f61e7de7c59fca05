package boil

import (
	"math"
	"testing"
)

const squareFoot = 0.09290304

// twoPans are a flue pan of eight square feet and a flat one of six behind it.
func twoPans() Row {
	return Row{{ID: "back", Pan: Pan{Kind: Flue, AreaM2: 8 * squareFoot, Fuel: Wood}},
		{ID: "front", Pan: Pan{AreaM2: 6 * squareFoot, Fuel: Wood}}}
}

// A row boils what its pans boil, sugar is neither made nor lost on its way, and what is
// moved on is what the next pan boils away and hands on.
func TestRowInBalance(t *testing.T) {
	row := twoPans()
	if got, want := row.Together().Rate(), row[0].Rate()+row[1].Rate(); math.Abs(got-want) > 1e-9 {
		t.Errorf("together %.1f L/h, the pans %.1f", got, want)
	}
	f := row.Steady(2, 66, 1000)
	if len(f.Pans) != 2 || f.Pans[1].Brix < 65.9 || f.Pans[1].Brix > 66.1 || !(f.Pans[0].Brix > 2 && f.Pans[0].Brix < 20) {
		t.Fatalf("%+v", f)
	}
	sugar := func(l, brix float64) float64 { return l * DensityKgL(brix) * brix }
	perDraw := sugar(f.FeedLH*f.EveryMin/60, 2)
	for _, p := range f.Pans {
		if got := sugar(p.MoveOnL, p.Brix); math.Abs(got-perDraw) > 0.01*perDraw {
			t.Errorf("%s hands on %.2f of sugar, %.2f came", p.ID, got, perDraw)
		}
	}
	draw := f.Pans[1].MoveOnL
	if may := row[1].HoldsL() - row[1].HoldBackL(); math.Abs(draw-may) > 0.01 || row[1].HoldsL()-draw < row[1].HoldBackL()-0.01 {
		t.Errorf("draws off %.1f L of %.1f, %.1f must stay", draw, row[1].HoldsL(), row[1].HoldBackL())
	}
	if f.Pans[1].BoilsC-f.Pans[0].BoilsC < 3 {
		t.Errorf("boils at %.1f and %.1f °C", f.Pans[0].BoilsC, f.Pans[1].BoilsC)
	}
	if got := (Row{}).Steady(2, 66, 1000); len(got.Pans) != 0 {
		t.Error("no pans, and they boil")
	}
}

// Gas under a finishing pan burns for the last water alone; one pan in a row burns what it
// burns by itself.
func TestRowBurns(t *testing.T) {
	one := Row{{Pan: Usual()}}
	b, err := Boil(400, 2, 66, 1000, Usual())
	if err != nil {
		t.Fatal(err)
	}
	cords, gas := one.Burnt(b.WaterToBoilL*DensityKgL(0), b.SyrupKg, 66, nil)
	if math.Abs(cords-b.WoodCords) > 1e-9 || gas != 0 {
		t.Errorf("%.4f cords and %.2f L of gas, one pan burns %.4f", cords, gas, b.WoodCords)
	}
	apart := &Vessel{Pan: Pan{AreaM2: 2 * squareFoot, Fuel: Gas}}
	less, gas := one.Burnt(b.WaterToBoilL*DensityKgL(0), b.SyrupKg, 66, apart)
	if !(gas > 0.05 && gas < 1.5) || !(less < cords && less > 0.97*cords) {
		t.Errorf("%.4f cords and %.2f L of gas beside %.4f cords", less, gas, cords)
	}
}

// A boil in one pan teaches that pan, one in all teaches all alike; what a row holds is
// learnt from neither.
func TestRowLearns(t *testing.T) {
	row := twoPans()
	slow := Fired{WaterL: 0.6 * row[1].Rate() * 4, Hours: 4 + LightUp.Hours(), WoodCords: math.NaN()}
	one := row.Learnt(map[string][]Fired{"front": {slow, slow, slow}})
	if one[0].Rate() != row[0].Rate() || !(one[1].Rate() < 0.75*row[1].Rate()) {
		t.Errorf("rates %.1f and %.1f, were %.1f and %.1f", one[0].Rate(), one[1].Rate(), row[0].Rate(), row[1].Rate())
	}
	all := row.Learnt(map[string][]Fired{"": {{WaterL: 0.6 * row.Together().Rate() * 4, Hours: 4 + LightUp.Hours(), WoodCords: 1}}})
	if a, b := all[0].Rate()/row[0].Rate(), all[1].Rate()/row[1].Rate(); math.Abs(a-b) > 1e-9 || a > 0.9 || all[0].WoodShare == 0 {
		t.Errorf("taught %.2f and %.2f", a, b)
	}
	if row[0].RateLH != 0 {
		t.Error("the settings' row was changed")
	}
	if all.HoldsL() != row.HoldsL() {
		t.Error("a boil changed what the pans hold")
	}
}

// Syrup that stays in pan and filter is learnt slowly, and never more than a quarter.
func TestLost(t *testing.T) {
	for _, c := range []struct {
		gave      []float64
		low, high float64
	}{{nil, 0, 0}, {[]float64{0.9}, 0.005, 0.03}, {[]float64{0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9}, 0.04, 0.08},
		{[]float64{1.2, 1.1}, 0, 0}, {[]float64{0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01,
			0.01, 0.01, 0.01, 0.01}, 0.2, 0.25}} {
		if got := Lost(c.gave); got < c.low || got > c.high {
			t.Errorf("%v: %.3f is lost, want %.3f to %.3f", c.gave, got, c.low, c.high)
		}
	}
}
