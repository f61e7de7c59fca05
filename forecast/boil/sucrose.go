package boil

import "math"

// SaturationHPa is the pressure of steam over boiling water, hPa, at a temperature in
// °C: the basic equation of region 4, IAPWS-IF97 (coefficients from memory). It is the
// other way round of [WaterBoilsC].
func SaturationHPa(c float64) float64 {
	n := steamLine
	k := c + 273.15
	theta := k + n[8]/(k-n[9])
	a := theta*theta + n[0]*theta + n[1]
	b := n[2]*theta*theta + n[3]*theta + n[4]
	d := n[5]*theta*theta + n[6]*theta + n[7]
	return math.Pow(2*d/(-b+math.Sqrt(b*b-4*a*d)), 4) * 1e4
}

// logWaterActivity is the logarithm of the activity of water in a solution of sucrose,
// for sugar in per cent by weight and a temperature in °C:
//
//	ln a = ln(1-x) + Q/(R·T) · x² · (1 + a·x + b·x²),  Q = -17638 J/mol, a = -1.0038, b = -0.24653
//
// with x the mole fraction of sucrose (Starzak and Peacock 1997, Zuckerindustrie 122:380;
// constants by the summary that its publisher's documentation centre prints).
func logWaterActivity(brixPct, c float64) float64 {
	const sucrose, water, gas = 342.297, 18.0153, 8.31446
	s := brixPct / sucrose
	x := s / (s + (100-brixPct)/water)
	return math.Log1p(-x) - 17638/(gas*(c+273.15))*x*x*(1-1.0038*x-0.24653*x*x)
}

// SyrupBoilsC is where a solution of sugar boils, °C, at a station pressure in hPa: where
// its water's activity times the pressure of steam is the pressure of the air. Sugar is
// in per cent by weight, 0 to 95.
func SyrupBoilsC(stationPressureHPa, brixPct float64) float64 {
	lnP := math.Log(stationPressureHPa)
	off := func(c float64) float64 { return math.Log(SaturationHPa(c)) + logWaterActivity(brixPct, c) - lnP }
	c := WaterBoilsC(stationPressureHPa)
	for range 6 { // Newton, by a difference: each step gains three digits
		here := off(c)
		c -= here / ((off(c+0.01) - here) / 0.01)
	}
	return c
}

// RiseK is how far above water a solution of sugar boils, K.
func RiseK(stationPressureHPa, brixPct float64) float64 {
	return SyrupBoilsC(stationPressureHPa, brixPct) - WaterBoilsC(stationPressureHPa)
}

// BrixAtRise is the sugar, per cent by weight, of a solution that boils so many K above
// water: 0 at or below it, at most 95.
func BrixAtRise(stationPressureHPa, riseK float64) float64 {
	boils := WaterBoilsC(stationPressureHPa) + riseK
	low, high := 0.0, 95.0
	for range 30 {
		middle := (low + high) / 2
		if SyrupBoilsC(stationPressureHPa, middle) < boils {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// BrixOfFloat is the sugar of syrup by a hydrometer that is right at 60 °F, read at
// another temperature, °C: 0.053 °Brix more for each °F above (density chart of 36 °Baumé
// syrup in state handbooks, 50 to 209 °F, within 0.3 °Brix).
func BrixOfFloat(readBrix, c float64) float64 { return readBrix + 0.053*(c*1.8+32-60) }
