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

// pastSeasons are seasons that were worked out before. One is worked out anew
// when its records or its weather have changed.
type pastSeasons struct {
	mu   sync.Mutex
	kept map[string]pastSeason
}

type pastSeason struct {
	mark string
	past *forecast.Past
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
	place := p.Daemon.PlaceKey(site)
	mark, err := p.Archive.SeasonMark(ctx, site.ID, place, from, to)
	if err != nil {
		return nil, err
	}
	mark += " " + strconv.FormatInt(to.Unix()/3600, 10) + fmt.Sprint(site.Groups)
	key := site.ID + " " + strconv.Itoa(year)
	p.past.mu.Lock()
	kept, found := p.past.kept[key]
	p.past.mu.Unlock()
	if found && kept.mark == mark {
		return kept.past, nil
	}
	hours, err := p.Archive.Hours(ctx, place, from, to)
	if err != nil {
		return nil, err
	}
	var past *forecast.Past
	if hours.Hours() > 0 {
		stored, err := p.Archive.Visits(ctx, site.ID, from, site.Zone)
		if err != nil {
			return nil, err
		}
		var visits []records.Visit
		for i := range stored {
			if stored[i].CollectedAt.Before(to.Add(time.Hour)) {
				visits = append(visits, stored[i].Visit)
			}
		}
		made, err := forecast.LookBack(forecast.PastInputs{Site: *site, Weather: hours, Visits: visits, From: from, To: to})
		if err != nil {
			return nil, err
		}
		past = &made
	}
	p.past.mu.Lock()
	defer p.past.mu.Unlock()
	if p.past.kept == nil {
		p.past.kept = map[string]pastSeason{}
	}
	p.past.kept[key] = pastSeason{mark, past}
	return past, nil
}

// years are the springs of which weather is kept, the newest first.
func (p *Pages) years(ctx context.Context, site *forecast.Site) ([]int, error) {
	first, last, err := p.Archive.HoursKept(ctx, p.Daemon.PlaceKey(site))
	if err != nil || first.IsZero() {
		return nil, err
	}
	var out []int
	for y := season.WinterStart(last, site.Zone).Year() + 1; y >= season.WinterStart(first, site.Zone).Year()+1; y-- {
		out = append(out, y)
	}
	return out, nil
}
