package boil

import "testing"

// IAPWS-IF97 table 35: 0.00353658941 MPa at 300 K, 2.63889776 at 500, 12.3443146 at 600;
// from memory.
func TestSteamPressure(t *testing.T) {
	for kelvin, mpa := range map[float64]float64{300: 0.00353658941, 500: 2.63889776, 600: 12.3443146} {
		close2(t, "pressure of steam, MPa", SaturationHPa(kelvin-273.15)/1e4, mpa, 1e-7)
	}
	for _, hPa := range []float64{700, 950, 1040} {
		close2(t, "there and back", SaturationHPa(WaterBoilsC(hPa)), hPa, 1e-3)
	}
}

// Handbook rises of sucrose solutions at sea level, °F: 3.27 at 50 °Brix, 7.1 at 66.0 and
// 7.5 at 66.9 (maple handbooks; the last from memory). Granulated sugar is taken 40 to 45
// °F above water, where some nine tenths are sugar (extension charts, from memory).
func TestSyrupBoilsWhereHandbooksSay(t *testing.T) {
	for brix, f := range map[float64]float64{50: 3.27, 66.0: 7.1, 66.9: 7.5} {
		close2(t, "rise, °F", 1.8*RiseK(1000, brix), f, 0.1)
	}
	for _, s := range Stages {
		if s.Name != "granulated" {
			continue
		}
		for _, above := range s.AboveWaterF {
			if brix := BrixAtRise(1000, above/1.8); brix < 89 || brix > 92 {
				t.Errorf("%.0f °F above water: %.1f °Brix", above, brix)
			}
		}
	}
}

func TestRiseAndBack(t *testing.T) {
	before := -1.0
	for brix := 0.0; brix <= 92; brix += 4 {
		rise := RiseK(960, brix)
		if rise <= before {
			t.Errorf("%.0f °Brix boils no higher than less sugar does: %.3f K", brix, rise)
		}
		before = rise
		close2(t, "sugar of the rise", BrixAtRise(960, rise), brix, 0.05)
	}
	if got := BrixAtRise(960, -2); got > 1e-6 {
		t.Errorf("below boiling water: %.3f °Brix", got)
	}
}

// Syrup of 36 °Baumé, 66.9 °Brix at 60 °F, reads so at other temperatures (density chart
// of state handbooks, °F to °Brix).
func TestFloatAgainstDensityChart(t *testing.T) {
	for f, reads := range map[float64]float64{209: 59.0, 202: 59.6, 185: 60.4, 167: 61.4, 149: 62.3, 130: 63.3, 100: 64.8, 80: 65.9,
		60: 66.9, 50: 67.4} {
		close2(t, "corrected", BrixOfFloat(reads, (f-32)/1.8), 66.9, 0.3)
	}
}
