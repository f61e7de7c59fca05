package boil

import (
	"math"
	"strings"
	"testing"

	"thawline/forecast/weather"
)

func close2(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.4f, want %.4f ± %g", what, got, want, within)
	}
}

// ICUMSA and NBS tables of sucrose solutions at 20 °C (from memory): 10 %
// 1.0381, 50 % 1.2296, 60 % 1.2865 kg/L.
func TestDensity(t *testing.T) {
	for brix, want := range map[float64]float64{0: 0.9982, 10: 1.0381, 50: 1.2296, 60: 1.2865, 66: 1.3227, 66.9: 1.3282} {
		close2(t, "density", DensityKgL(brix), want, 0.0006)
	}
	// Syrup of 66.9 °Brix weighs 11 lb a US gallon (Taylor 1956, Vt AES Bull. 587).
	close2(t, "pounds a gallon", DensityKgL(66.9)*3.785411784/0.45359237, 11.0, 0.1)
}

// The rules of 86 (Jones), 87.1 and 88.2 (Perkins and Isselhardt) come out of
// the balance of sugar for sap of 1.5 to 4 %, within 1.3 %.
func TestRulesOf86(t *testing.T) {
	for syrup, rule := range map[float64]float64{65.5: 86, 66.0: 87.1, 66.9: 88.2} {
		for _, brix := range []float64{1.5, 2, 2.5, 3, 4} {
			if got, want := SapPerSyrup(brix, syrup), rule/brix; math.Abs(got/want-1) > 0.013 {
				t.Errorf("%.1f %% to %.1f: %.2f to one, the rule says %.2f", brix, syrup, got, want)
			}
		}
	}
	// About forty to one at 2.2 % (common practice).
	close2(t, "forty to one", SapPerSyrup(2.2, 66), 40, 1)
}

// ASHRAE's saturation pressures, an independent formulation, by psychrolib
// 1.1.1 (npm), run once: p.GetSatVapPres(t)/100 at 89.93, 96.69, 99.04, 99.974,
// 100.709 °C.
func TestBoilingPointAgainstPsychrolib(t *testing.T) {
	for hPa, c := range map[float64]float64{699.936: 89.93, 900.091: 96.69, 979.928: 99.04, 1013.246: 99.974, 1040.121: 100.709} {
		close2(t, "boiling point", WaterBoilsC(hPa), c, 0.01)
	}
}

// Draw-off at 66.0 and 66.9 °Brix lies 7.1 and 7.5 °F above boiling water
// (Perkins and Isselhardt; the second from memory), at the pressures of sugarhouses.
func TestDrawOffRisesWithSugar(t *testing.T) {
	for brix, f := range map[float64]float64{66: 7.1, 66.9: 7.5} {
		b, err := Boil(400, 2, brix, 985, Usual())
		if err != nil {
			t.Fatal(err)
		}
		close2(t, "rise, °F", 1.8*(b.DrawOffC-b.BoilingC), f, 0.1)
	}
}

// About 7.5 lb of sugar from a US gallon of syrup, and one volume of sugar for
// one of syrup, a little more (common practice).
func TestSyrupToSugar(t *testing.T) {
	kg, litres := SugarFrom(3.785411784, HeavySyrupBrix)
	close2(t, "pounds of sugar a gallon", kg/0.45359237, 7.4, 0.2)
	if ratio := litres / 3.785411784; ratio < 1 || ratio > 1.15 {
		t.Errorf("one volume of syrup gives %.2f of sugar", ratio)
	}
}

// A cord of dry hardwood boils 20 to 25 gallons of syrup from sap of 2 %, 24
// MBtu a cord, latent heat 2257 kJ/kg (common practice; from memory).
func TestWoodAgainstTheRuleOfCords(t *testing.T) {
	close2(t, "heat to boil a kilogram away from 4 °C, kJ", HeatKJKg, 2659, 10)
	for _, kind := range []Kind{Flat, Flue} {
		b, err := Boil(1000, 2, HeavySyrupBrix, 985, Pan{Kind: kind, AreaM2: 2, Fuel: Wood})
		if err != nil {
			t.Fatal(err)
		}
		if gallons := b.SyrupL / 3.785411784 / b.WoodCords; gallons < 18 || gallons > 25 {
			t.Errorf("%s: %.1f US gallons of syrup a cord", kind, gallons)
		}
	}
}

// A 2 by 6 foot flat pan boils about 12 US gallons an hour (common practice).
func TestBatch(t *testing.T) {
	p := Usual()
	close2(t, "US gallons an hour", p.Rate()/3.785411784, 12, 0.01)
	b, err := Boil(400, 2.1, SyrupBrix, 985, p)
	if err != nil {
		t.Fatal(err)
	}
	close2(t, "syrup, L", b.SyrupL, 400/41.3, 0.1)
	close2(t, "mass of sugar in and out", b.SyrupKg*0.66, 400*DensityKgL(2.1)*0.021, 0.01)
	close2(t, "hours", b.Hours, b.WaterToBoilL/p.Rate()+0.5, 1e-9)
	with := p
	with.ReachBrix = 8
	c, err := Boil(400, 2.1, SyrupBrix, 985, with)
	if err != nil {
		t.Fatal(err)
	}
	close2(t, "concentrated, syrup", c.SyrupL, b.SyrupL, 1e-9)
	if c.WaterToBoilL > 0.25*b.WaterToBoilL || c.WoodCords > 0.25*b.WoodCords || c.ConcentrateL < 100 || c.ConcentrateL > 106 {
		t.Errorf("%+v", c)
	}
	if small, err := Boil(60, 2, SyrupBrix, 985, p); err != nil || !small.TooLittle {
		t.Errorf("%v %+v", err, small)
	}
}

func TestBoilFaults(t *testing.T) {
	for _, c := range []struct {
		sap, brix, syrup, hPa, reach float64
		want                         string
	}{
		{0, 2, 66, 985, 0, "more than nothing"}, {400, 0.1, 66, 985, 0, "sap has 1 to 5 per cent"}, {400, 2, 12, 985, 0, "syrup has 66"},
		{400, 2, 66, 29.1, 0, "no station pressure"}, {400, 2, 66, 985, 1, "must be sweeter than the sap"},
		{math.NaN(), math.NaN(), 66, 985, 0, "sap"},
	} {
		p := Usual()
		p.ReachBrix = c.reach
		if _, err := Boil(c.sap, c.brix, c.syrup, c.hPa, p); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

// Magnus against ASHRAE by psychrolib 1.1.1 (npm), run once:
// p.GetTDewPointFromRelHum and p.GetRelHumFromTDewPoint.
func TestHumidityAgainstPsychrolib(t *testing.T) {
	for _, c := range []struct{ c, rh, dew float64 }{{20, 50, 9.272}, {5, 80, 1.841}, {25, 60, 16.701}} {
		close2(t, "dew point", weather.DewPointFrom(c.c, c.rh), c.dew, 0.03)
	}
	close2(t, "indoors from a dew point of 5 °C", HumidityIndoors(5, 8, 20), 37.30, 0.1)
	close2(t, "indoors from a dew point of -3 °C", HumidityIndoors(-3, 2, 20), 20.9, 0.6) // theirs is over ice
}

// Where water boils at 212 °F moulded sugar is done at 244 to 246 °F and granulated
// sugar at 252 to 257 °F (extension charts, from memory); stages rise in that order.
func TestStagesOfSugar(t *testing.T) {
	want := map[string][2]float64{"moulded": {244, 246}, "granulated": {252, 257}}
	before := 0.0
	for _, s := range Stages {
		low, high := s.AtC(100)
		if w, known := want[s.Name]; known && (math.Abs(low*1.8+32-w[0]) > 0.01 || math.Abs(high*1.8+32-w[1]) > 0.01) {
			t.Errorf("%s from %.1f to %.1f °C", s.Name, low, high)
		}
		if low < before || high < low {
			t.Errorf("%s is out of order", s.Name)
		}
		before = low
	}
}
