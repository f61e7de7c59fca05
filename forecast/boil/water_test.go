package boil

import (
	"math"
	"testing"
)

func TestWaterBoils(t *testing.T) {
	// IAPWS-IF97 table 36: 372.755919 K at 0.1 MPa, 453.035632 K at 1 MPa,
	// 584.149488 K at 10 MPa; from memory.
	for mpa, kelvin := range map[float64]float64{0.1: 372.755919, 1: 453.035632, 10: 584.149488} {
		if got := WaterBoilsC(mpa*1e4) + 273.15; math.Abs(got-kelvin) > 1e-6 {
			t.Errorf("at %v MPa %.6f K, want %.6f", mpa, got, kelvin)
		}
	}
}

func TestDrawOffAtSeaLevel(t *testing.T) {
	// "219 °F" at 1013 hPa, common practice.
	if f := DrawOffC(1013.25, SyrupBrix)*1.8 + 32; math.Abs(f-219) > 0.2 {
		t.Errorf("syrup is drawn off at %.2f °F", f)
	}
}
