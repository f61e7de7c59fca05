package forecast

import (
	"math"
	"slices"

	"thawline/forecast/boil"
	"thawline/forecast/weather"
)

// FeelsLikeC is how cold wind makes air feel, °C: the wind chill of Canada and
// the United States (Environment Canada 2001, from memory), below 10 °C and
// above a walking pace; else the air's own temperature.
func FeelsLikeC(airC, windMS float64) float64 {
	v := 3.6 * windMS
	if airC > 10 || v < 4.8 || math.IsNaN(v) {
		return airC
	}
	p := math.Pow(v, 0.16)
	return 13.12 + 0.6215*airC - 11.37*p + 0.3965*airC*p
}

// teachingDays ranks the coming days from tomorrow on, the best first; none where there
// is no run to see any more.
func teachingDays(o *Outlook, e *weather.Ensemble, c *calendar) []TeachingDay {
	w := &e.Likely
	out := []TeachingDay{}
	for d := 1; d < len(o.Days) && o.Season.Closed == nil; d++ {
		day := TeachingDay{Date: o.Days[d].Date, RunProbability: o.Days[d].RunProbability, FeelsC: math.Inf(1), Sugar: boil.Damp}
		rain, wind, hours := 0.0, 0.0, 0
		for h, of := range c.futureDay {
			if hour := w.Time(h).In(c.zone).Hour(); of != d || hour < 9 || hour >= 15 {
				continue
			}
			hours++
			day.FeelsC = min(day.FeelsC, FeelsLikeC(w.At(weather.TemperatureC, h), w.At(weather.WindSpeedMS, h)))
			wind = max(wind, w.At(weather.WindSpeedMS, h))
			if mm := w.At(weather.PrecipitationMM, h); mm > 0 {
				rain += mm
			}
		}
		if hours < 4 {
			continue
		}
		day.FeelsC = round(day.FeelsC, 0)
		day.Rain = rain >= 1
		for _, s := range o.Sugar {
			if s.Date == day.Date {
				day.Sugar = s.Grade
			}
		}
		for _, b := range o.Boil {
			day.Boil = day.Boil || b.Date == day.Date && b.Batch != nil
		}
		day.Score = teachingScore(&day, wind)
		out = append(out, day)
	}
	slices.SortStableFunc(out, func(a, b TeachingDay) int { return b.Score - a.Score })
	return out
}

// teachingScore weighs what learners come for (a run, a boil, sugar) and takes
// it down for weather that is no weather for them; wind that brings limbs down
// rules a day out.
func teachingScore(d *TeachingDay, windMS float64) int {
	s := 45 * d.RunProbability
	if d.Boil {
		s += 35
	}
	switch d.Sugar {
	case boil.Dry:
		s += 20
	case boil.Fair:
		s += 12
	}
	if d.Rain {
		s *= 0.5
	}
	if d.FeelsC < -5 { // small hands get cold
		s *= max(1+(d.FeelsC+5)/15, 0)
	}
	if windMS >= limbsFallMS {
		s = 0
	}
	return int(math.Round(s))
}
