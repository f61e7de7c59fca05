package weather

import "math"

// SaturationVapourHPa is the vapour pressure over water at saturation (Magnus
// form with 17.62 and 243.12 °C, WMO Guide no. 8, from memory).
func SaturationVapourHPa(temperatureC float64) float64 {
	return 6.112 * math.Exp(17.62*temperatureC/(243.12+temperatureC))
}

// DewPointFrom returns the dew point in °C of air at a temperature and a
// relative humidity in per cent, by the same formula turned round.
func DewPointFrom(temperatureC, relativeHumidityPct float64) float64 {
	g := math.Log(max(relativeHumidityPct, 0.1)/100) + 17.62*temperatureC/(243.12+temperatureC)
	return 243.12 * g / (17.62 - g)
}

// RelativeHumidityFrom returns per cent, at most 100, from a temperature and a
// dew point in °C.
func RelativeHumidityFrom(temperatureC, dewPointC float64) float64 {
	return min(100, 100*SaturationVapourHPa(dewPointC)/SaturationVapourHPa(temperatureC))
}

// lapseKPerM is the fall of temperature with height in the ICAO standard
// atmosphere.
const lapseKPerM = 0.0065

// StandardPressureHPa is the pressure at a height in metres on a usual day: the ICAO
// standard atmosphere (Doc 7488). Weather moves it by some 25 hPa either way (common
// practice).
func StandardPressureHPa(heightM float64) float64 { return PressureAtHeight(1013.25, 15, 0, heightM) }

// PressureAtHeight carries a pressure in hPa from one height to another, in
// metres, through air of a temperature in °C at the start (hypsometric
// equation with the standard lapse rate; ICAO Doc 7488, from memory).
func PressureAtHeight(pressureHPa, temperatureC, fromM, toM float64) float64 {
	t := temperatureC + 273.15
	return pressureHPa * math.Pow(1-lapseKPerM*(toM-fromM)/t, 9.80665*0.0289644/(8.314462618*lapseKPerM))
}
