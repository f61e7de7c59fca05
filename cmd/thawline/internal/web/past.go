package web

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"time"

	"thawline/cmd/thawline/internal/lookback"
	"thawline/forecast"
	"thawline/forecast/parallel"
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

// mostPast is how many seasons are kept at hand: some of a few bushes, thirty of one in two forms.
const mostPast = 80

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
	return lookback.Span(year, zone, p.Now())
}

// seasonMark changes with what a season is worked out from.
func (p *Pages) seasonMark(ctx context.Context, site *forecast.Site, year int) (string, error) {
	from, to := p.seasonSpan(year, site.Zone)
	mark, err := p.Records.SeasonMark(ctx, site.ID, p.PlaceKey(site), from, to)
	return mark + " " + strconv.FormatInt(to.Unix()/3600, 10) + fmt.Sprint(site.Groups), err
}

// seasonOf works out what a season gave; nil where no weather of it is kept.
func (p *Pages) seasonOf(ctx context.Context, site *forecast.Site, year int) (*forecast.Past, error) {
	return p.pastOf(ctx, site, year, false)
}

// daysOf are what the days of several seasons gave, by year: without their visits.
func (p *Pages) daysOf(ctx context.Context, site *forecast.Site, years []int) (map[int]*forecast.Past, error) {
	all, errs := make([]*forecast.Past, len(years)), make([]error, len(years))
	parallel.Each(len(years), func(_, i int) { all[i], errs[i] = p.pastOf(ctx, site, years[i], true) })
	past := map[int]*forecast.Past{}
	for i, y := range years {
		past[y] = all[i]
	}
	return past, errors.Join(errs...)
}

func (p *Pages) pastOf(ctx context.Context, site *forecast.Site, year int, daysOnly bool) (*forecast.Past, error) {
	from, to := p.seasonSpan(year, site.Zone)
	if !to.After(from) {
		return nil, nil
	}
	mark, err := p.seasonMark(ctx, site, year)
	if err != nil {
		return nil, err
	}
	key := site.ID + " " + strconv.Itoa(year)
	if past, found := p.past.find(key, mark); found {
		return past, nil
	}
	if daysOnly {
		key += " days"
		if past, found := p.past.find(key, mark); found {
			return past, nil
		}
	}
	in, known, err := lookback.Inputs(ctx, p.Past, site, p.PlaceKey(site), from, to)
	if err != nil {
		return nil, err
	}
	var past *forecast.Past
	if in.DaysOnly = daysOnly; known {
		made, err := forecast.LookBack(in)
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
