package boil

import (
	"math"

	"thawline/forecast/weather"
)

// Dryness says how fit air is for stirring sugar.
type Dryness string

// The grades: granulated sugar takes up water from air above about 85 % relative
// humidity when pure and sooner with invert sugar in it (Allan and Mauer 2015;
// thresholds common practice).
const (
	Dry  Dryness = "dry"  // under 50 % at the place of work
	Fair Dryness = "fair" // under 65 %
	Damp Dryness = "damp" // sugar draws water and clings
)

// HumidityIndoors is the relative humidity, per cent, of a room at a
// temperature into which outside air of a dew point comes: heated, the same
// moisture is drier. NaN for a room temperature means outdoors at airC.
func HumidityIndoors(dewPointC, airC, roomC float64) float64 {
	if math.IsNaN(roomC) {
		roomC = airC
	}
	return weather.RelativeHumidityFrom(max(roomC, airC), dewPointC)
}

// Grade sorts a relative humidity at the place of work.
func Grade(humidityPct float64) Dryness {
	switch {
	case humidityPct < 50:
		return Dry
	case humidityPct < 65:
		return Fair
	}
	return Damp
}
