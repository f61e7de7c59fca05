package verify

import (
	"time"

	"thawline/forecast/weather"
)

// The threshold rule of climate studies: a night below -1.1 °C and a day above
// 2.2 °C (Skinner, DeGaetano and Chabot 2010, from memory).
const (
	ruleLowC  = -1.1
	ruleHighC = 2.2
)

// simpleRules counts what simpler forecasts would go by over some hours: local
// days that pass the threshold rule, and degree hours above freezing.
func (f *seasonFlow) simpleRules(from, to int) (days, degreeHours float64) {
	day, low, high := "", 0.0, 0.0
	passes := func() {
		if day != "" && low < ruleLowC && high > ruleHighC {
			days++
		}
	}
	for i := max(from, 0); i < min(to, f.weather.Hours()); i++ {
		c := f.weather.At(weather.TemperatureC, i)
		if d := f.weather.Time(i).In(f.zone).Format(time.DateOnly); d != day {
			passes()
			day, low, high = d, c, c
		}
		low, high = min(low, c), max(high, c)
		degreeHours += max(c, 0)
	}
	passes()
	return days, degreeHours
}
