package verify

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/weather"
)

// errorsOf is what the model teaches of an evening, for members.
func (m *ThawModel) errorsOf() *weather.CourseErrors {
	e := weather.UsualErrors
	e.Low, e.High = m.low, m.high
	return &e
}

// asSentPlace gives hours to the lows and highs of a file that names no places.
var asSentPlace = weather.Place{LatitudeDeg: 43, LongitudeDeg: -75, ElevationM: math.NaN()}

// asSent is the chance of the event among the members that the evening text is made
// from: forecasts become an hourly course, those of the evening before and of the
// morning courses that were told before, and what was observed the past. The bush's lows and highs are shifted, °F.
func (m *ThawModel) asSent(p *Pair, shift [2]float64, seed uint64) (float64, error) {
	const eveningUTC = 23 // six in the evening at 75° W
	now := p.Night.Add(eveningUTC * time.Hour)
	course := func(low, high float64) weather.Daily {
		d := weather.NewDaily(p.Night, 4)
		d.LowC[1], d.HighC[1], d.LowC[2], d.HighC[2] = celsius(low), celsius(high), celsius(low), celsius(high)
		d.LowC[0], d.HighC[0] = d.LowC[1], d.HighC[1]
		return d
	}
	newest := course(p.LowEvening, p.High24)
	b := weather.Bulletin{Source: "pairs", IssuedAt: now, ElevationM: math.NaN(), Errors: m.errorsOf()}
	morning, eveningBefore := course(p.Low12, p.High36), course(p.Low24, p.High48)
	if o := p.before; o != nil && !math.IsNaN(o.LowSeen+o.HighSeen) {
		newest.LowC[0], newest.HighC[0] = celsius(o.LowSeen), celsius(o.HighSeen)
		eveningBefore.LowC[0], eveningBefore.HighC[0] = celsius(o.LowEvening), celsius(o.High24)
	}
	b.Course = newest.Hourly(asSentPlace)
	for i, d := range []*weather.Daily{&morning, &eveningBefore} {
		b.Earlier = append(b.Earlier, weather.Told{Source: b.Source, IssuedAt: now.Add(-time.Duration(12*(i+1)) * time.Hour),
			Course: d.Hourly(asSentPlace)})
	}
	e, err := weather.Assemble(&b, asSentPlace, now, seed)
	if err != nil {
		return 0, fmt.Errorf("%s %s: %w", p.Station, p.Night.Format(time.DateOnly), err)
	}
	hits := 0.0
	for i := range e.Futures {
		f := &e.Futures[i]
		low, high := math.Inf(1), math.Inf(-1)
		for h := range min(f.Hours(), 24) {
			t := f.At(weather.TemperatureC, h)
			if h < 14 { // until eight in the morning
				low = min(low, t+shift[0]/1.8)
			} else {
				high = max(high, t+shift[1]/1.8)
			}
		}
		hits += as01(low <= celsius(frostF+halfDegree) && high >= celsius(thawF-halfDegree))
	}
	return hits / float64(len(e.Futures)), nil
}

func celsius(f float64) float64 { return (f - 32) / 1.8 }
