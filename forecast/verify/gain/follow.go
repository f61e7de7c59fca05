package gain

import (
	"math"
	"slices"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// evening is what one evening knows of the weather.
type evening struct {
	hour     int // of the weather; what comes is not known
	prospect *forecast.Prospect
}

const (
	aheadHours = 144      // of a forecast
	pastHours  = 120 * 24 // a daemon keeps the winter
)

// evenings foresees the weather each evening, by forecasts that err as forecasts do.
func (s *season) evenings(seed uint64) ([]evening, error) {
	var out []evening
	for _, h := range append([]int{s.from}, s.hoursAt(eveningHour)...) {
		now := s.weather.Time(h)
		course := s.told(h, seed)
		p, err := forecast.Foresee(forecast.Inputs{Site: s.site, Now: now, Seed: seed ^ uint64(now.Unix()),
			Bulletin: weather.Bulletin{Source: "file", IssuedAt: now, Course: course, ElevationM: math.NaN()}})
		if err != nil {
			return nil, err
		}
		out = append(out, evening{h, p})
	}
	return out, nil
}

// told is the weather as known at an hour: what has been, and then a forecast with
// the errors that forecasts have.
func (s *season) told(hour int, seed uint64) weather.Series {
	split := hour + 1
	now := s.weather.Time(hour)
	ahead := s.weather.Slice(split, split+aheadHours)
	erring := weather.ErrorMembers(&ahead, s.Place, now, 2, seed^uint64(now.Unix()))[1]
	past := s.weather.Slice(max(split-pastHours, 0), split)
	return past.Overlay(&erring)
}

// follow lives through a draw by the plan, made anew each evening from that evening's
// forecast and what the walks so far have found.
func (s *season) follow(t truth, evenings []evening, g forecast.Gathering) ([]int, error) {
	g.MinutesPerTap = s.site.Gathering.MinutesPerTap
	var visits []records.Visit
	var hours []int
	pails := s.hang(t)
	for k := range evenings {
		until := s.to
		if k+1 < len(evenings) {
			until = evenings[k+1].hour
		}
		standing, err := evenings[k].prospect.With(visits, g)
		if err != nil {
			return nil, err
		}
		plan := standing.Plan()
		for i := range plan.Rounds {
			h := s.weather.Index(plan.Rounds[i].Start)
			if h <= pails.hour || h > until || h >= s.to || slices.Contains(hours, h) {
				continue
			}
			hours = append(hours, h)
			visits = append(visits, pails.visit(h))
		}
	}
	return hours, nil
}

// visit is what somebody writes down who carries in what is liquid at an hour.
func (p *hanging) visit(hour int) records.Visit {
	p.until(hour)
	carried, _ := p.empty()
	return records.Visit{Group: "pails", CollectedAt: p.season.weather.Time(hour), Taps: p.season.Taps, VolumeL: carried,
		BrixPct: math.NaN()}
}
