// Package boil works out what happens over the fire: where water and syrup boil, how much
// must go up as steam, and what a boil comes to.
//
// Start with [Boil] and a [Pan] ([Usual] is a small flat one). Pressures are those of the
// station in hPa, not reduced to sea level; temperatures are in °C, sugar in °Brix.
package boil

import "math"

// steamLine are the constants of region 4 of IAPWS-IF97 (from memory).
var steamLine = [...]float64{
	0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
	0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
}

// WaterBoilsC is the boiling point of water in °C at a station pressure in hPa:
// the backward equation of region 4, IAPWS-IF97.
func WaterBoilsC(stationPressureHPa float64) float64 {
	n := steamLine
	b := math.Pow(stationPressureHPa/1e4, 0.25) // pressure in MPa
	e := b*b + n[2]*b + n[5]
	f := n[0]*b*b + n[3]*b + n[6]
	g := n[1]*b*b + n[4]*b + n[7]
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	s := n[9] + d
	return (s-math.Sqrt(s*s-4*(n[8]+n[9]*d)))/2 - 273.15
}

// DrawOffC is where syrup of a sugar content is ready, in °C, at a station
// pressure in hPa.
func DrawOffC(stationPressureHPa, syrupBrix float64) float64 {
	return SyrupBoilsC(stationPressureHPa, syrupBrix)
}
