package web

import (
	"context"
	"fmt"
	"strconv"
	"sync"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// pastSeasons are seasons that were worked out lately. One is worked out anew
// when its records or its weather have changed.
type pastSeasons struct {
	mu   sync.Mutex
	kept map[string]pastSeason
	uses int
}

type pastSeason struct {
	mark string
	past *forecast.Past
	used int // the higher, the later
}

// mostPast is how many seasons are kept at hand: some of a few bushes.
const mostPast = 40

func (s *pastSeasons) find(key, mark string) (*forecast.Past, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	one, found := s.kept[key]
	if !found || one.mark != mark {
		return nil, false
	}
	s.uses++
	one.used = s.uses
	s.kept[key] = one
	return one.past, true
}

// keep keeps a season, and lets go of the one that nobody has looked at for longest.
func (s *pastSeasons) keep(key, mark string, past *forecast.Past) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil {
		s.kept = map[string]pastSeason{}
	}
	s.uses++
	s.kept[key] = pastSeason{mark, past, s.uses}
	if len(s.kept) <= mostPast {
		return
	}
	oldest := key
	for k, one := range s.kept {
		if one.used < s.kept[oldest].used {
			oldest = k
		}
	}
	delete(s.kept, oldest)
}

// seasonSpan is from the first of November to the end of June, or to now.
func (p *Pages) seasonSpan(year int, zone *time.Location) (from, to time.Time) {
	from = time.Date(year-1, time.November, 1, 0, 0, 0, 0, zone)
	to = time.Date(year, time.July, 1, 0, 0, 0, 0, zone)
	if now := p.Now(); to.After(now) {
		to = now
	}
	return from, to
}

// seasonOf works out what a season gave; nil where no weather of it is kept.
func (p *Pages) seasonOf(ctx context.Context, site *forecast.Site, year int) (*forecast.Past, error) {
	from, to := p.seasonSpan(year, site.Zone)
	if !to.After(from) {
		return nil, nil
	}
	place := p.PlaceKey(site)
	mark, err := p.Records.SeasonMark(ctx, site.ID, place, from, to)
	if err != nil {
		return nil, err
	}
	mark += " " + strconv.FormatInt(to.Unix()/3600, 10) + fmt.Sprint(site.Groups)
	key := site.ID + " " + strconv.Itoa(year)
	if past, found := p.past.find(key, mark); found {
		return past, nil
	}
	hours, err := p.Records.Hours(ctx, place, from, to)
	if err != nil {
		return nil, err
	}
	var past *forecast.Past
	if hours.Hours() > 0 {
		stored, err := p.Records.Visits(ctx, site.ID, from, site.Zone)
		if err != nil {
			return nil, err
		}
		var visits []records.Visit
		for i := range stored {
			if stored[i].CollectedAt.Before(to.Add(time.Hour)) {
				visits = append(visits, stored[i].Visit)
			}
		}
		events, err := p.Records.TapEvents(ctx, site.ID, from, site.Zone)
		if err != nil {
			return nil, err
		}
		var taps []records.TapEvent
		for i := range events {
			taps = append(taps, events[i].TapEvent)
		}
		seen, err := p.Intake.Archive.Observations(ctx, site.ID, from, site.Zone)
		if err != nil {
			return nil, err
		}
		var observed []records.Observation
		for i := range seen {
			observed = append(observed, seen[i].Observation)
		}
		made, err := forecast.LookBack(forecast.PastInputs{Site: *site, Weather: hours, Visits: visits, Taps: taps, Observed: observed, From: from, To: to})
		if err != nil {
			return nil, err
		}
		past = &made
	}
	p.past.keep(key, mark, past)
	return past, nil
}

// years are the springs of which weather is kept, the newest first.
func (p *Pages) years(ctx context.Context, site *forecast.Site) ([]int, error) {
	first, last, err := p.Records.HoursKept(ctx, p.PlaceKey(site))
	if err != nil || first.IsZero() {
		return nil, err
	}
	var out []int
	for y := season.WinterStart(last, site.Zone).Year() + 1; y >= season.WinterStart(first, site.Zone).Year()+1; y-- {
		out = append(out, y)
	}
	return out, nil
}
