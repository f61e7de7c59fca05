package forecast

import (
	"math"
	"slices"
	"time"

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

// Learners come from nine to three where the keeper has set no hours for classes (common
// practice); a day of fewer hours than that of forecast says nothing.
const (
	learnersFrom, learnersTo = 9 * time.Hour, 15 * time.Hour
	leastLearnersHours       = 2
)

// learnersHours are the hours of a day in which learners are there: by them run, boil, air
// and weather are judged alike.
func learnersHours(school []Free, day time.Time) (from, to time.Time) {
	first, last := time.Duration(0), time.Duration(0)
	for _, s := range school {
		if s.Weekday != day.Weekday() {
			continue
		}
		if last == 0 || s.From < first {
			first = s.From
		}
		last = max(last, s.To)
	}
	if last == 0 {
		first, last = learnersFrom, learnersTo
	}
	return onClock(day, first), onClock(day, last)
}

// both reports whether two stretches have an hour in common.
func both(from, to, start, end time.Time) bool {
	return earlier(to, end).Sub(later(from, start)) >= time.Hour
}

// teachingDays ranks the coming days from tomorrow on, the best first; none where there
// is no run to see any more.
func teachingDays(o *Outlook, e *weather.Ensemble, c *calendar, school []Free) []TeachingDay {
	w := &e.Likely
	out := []TeachingDay{}
	for d := 1; d < len(o.Days) && o.Season.Closed == nil; d++ {
		day := TeachingDay{Date: o.Days[d].Date, RunProbability: o.Days[d].RunProbability, FeelsC: math.Inf(1), Sugar: boil.Damp}
		from, to := learnersHours(school, c.dates[d])
		if run := o.Days[d].Window; run == nil || !both(run.Start, run.End, from, to) {
			day.RunProbability = 0 // it runs when nobody is there
		}
		rain, wind, hours := 0.0, 0.0, 0
		for h, of := range c.futureDay {
			if at := w.Time(h).In(c.zone); of != d || at.Before(from) || !at.Before(to) {
				continue
			}
			hours++
			day.FeelsC = min(day.FeelsC, FeelsLikeC(w.At(weather.TemperatureC, h), w.At(weather.WindSpeedMS, h)))
			wind = max(wind, w.At(weather.WindSpeedMS, h))
			if mm := w.At(weather.PrecipitationMM, h); mm > 0 {
				rain += mm
			}
		}
		if hours < leastLearnersHours {
			continue
		}
		day.FeelsC = round(day.FeelsC, 0)
		day.Rain = rain >= 1
		for _, s := range o.Sugar {
			if s.Date == day.Date && both(s.From, s.To, from, to) {
				day.Sugar = s.Grade
			}
		}
		for _, b := range o.Boil {
			day.Boil = day.Boil || b.Date == day.Date && b.Batch != nil && both(*b.Start, *b.End, from, to)
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
