package units

import (
	"fmt"
	"math"
	"strconv"
)

// VolumeIn converts litres to the system's unit, unrounded.
func VolumeIn(litres float64, s System) (value float64, unit string) {
	switch s {
	case US:
		return litres / LitresPerUSGallon, "gal"
	case Imperial:
		return litres / LitresPerImperialGallon, "imp gal"
	}
	return litres, "L"
}

// Volume writes litres in the system's unit as a person would say it: "7.5"
// and "L", "48" and "gal". Below ten it has one decimal (with a point, for the
// caller to turn into a comma where the language wants one), from ten none; "?"
// where the volume is not known.
func Volume(litres float64, s System) (number, unit string) {
	v, unit := VolumeIn(litres, s)
	if math.Abs(v) < 9.95 && rounded(v, 1) != "0.0" {
		return rounded(v, 1), unit
	}
	return rounded(v, 0), unit
}

// Temperature writes °C in whole degrees of the system: "-3 °C", "27 °F". Only
// US means Fahrenheit.
func Temperature(c float64, s System) string { return temperature(c, s, 0, " °") }

// FineTemperature is Temperature to a tenth of a degree, for a thermometer in
// the pan.
func FineTemperature(c float64, s System) string { return temperature(c, s, 1, " °") }

// PlainTemperature is Temperature without the degree sign, which the GSM 7-bit
// alphabet of text messages lacks: "27 F".
func PlainTemperature(c float64, s System) string { return temperature(c, s, 0, " ") }

// PlainFineTemperature is PlainTemperature to a tenth of a degree.
func PlainFineTemperature(c float64, s System) string { return temperature(c, s, 1, " ") }

// FineRise is a difference of temperatures in kelvin, to a tenth of a degree of the
// system: "42.5 °F", "23.6 °C".
func FineRise(k float64, s System) string {
	if s == US {
		return rounded(k*1.8, 1) + " °F"
	}
	return rounded(k, 1) + " °C"
}

// Mass writes kilograms in the system's unit to a tenth: "14.5 kg", "32.0 lb".
func Mass(kg float64, s System) string {
	if s == US {
		return rounded(kg/KilogramsPerPound, 1) + " lb"
	}
	return rounded(kg, 1) + " kg"
}

func temperature(c float64, s System, decimals int, sign string) string {
	unit := "C"
	if s == US {
		unit = "F"
	}
	return degrees(c, s, decimals) + sign + unit
}

// Degrees is a temperature as a whole number alone, for columns whose head names the unit:
// "27".
func Degrees(c float64, s System) string { return degrees(c, s, 0) }

func degrees(c float64, s System, decimals int) string {
	if s == US {
		c = CToF(c)
	}
	return rounded(c, decimals)
}

// rounded never writes a minus before zero, and "?" for what is not a number.
func rounded(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	p := math.Pow10(decimals)
	v = math.Round(v*p) / p
	if v == 0 {
		v = 0 // not -0
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// Chance is a probability in whole per cent; it never claims to be certain.
func Chance(p float64) string {
	switch percent := int(p*100 + 0.5); {
	case percent < 1:
		return "<1\u00a0%"
	case percent > 99:
		return ">99\u00a0%"
	default:
		return fmt.Sprintf("%d\u00a0%%", percent)
	}
}

// InTen is a probability as so many times in ten, to the nearest: 1 to 9, since it never claims
// to be certain.
func InTen(p float64) int {
	const nearly = 1e-9 // 0.55 is six in ten however it was worked out
	return min(max(int(math.Floor(p*10+0.5+nearly)), 1), 9)
}
