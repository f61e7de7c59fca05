package app

import (
	"context"
	"fmt"
	"math"
	"time"

	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/season"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// PastWeather fetches the weather of past winters from which a site has records, a month a
// question, and keeps each month as it comes: what is begun again goes on where it was.
type PastWeather struct {
	Archive *archive.Archive
	Ask     source.Historian
	Wait    func(ctx context.Context, d time.Duration) error // nil waits by the clock
}

const (
	betweenMonths = time.Second // so that nobody is asked faster than one question a second
	wholeMonth    = 0.9         // of its hours, from which on a month counts as kept
	winterMonths  = 8           // from November on
)

// afterFailures is how long is waited after each failure in a row; then it is given up, at
// once where nothing was had yet.
var afterFailures = []time.Duration{5 * time.Second, 20 * time.Second, time.Minute}

// Month is one whose weather is not kept.
type Month struct {
	From, To time.Time
	Spring   int // the year of the season that it belongs to
}

// Missing lists the months without weather of the winters, before the one of a moment, from
// which a site has records, the newest winter first; no winter is older than is looked back on.
func (p *PastWeather) Missing(ctx context.Context, site *forecast.Site, now time.Time) ([]Month, error) {
	oldest, this := forecast.EarlierWinters(now, site.Zone)
	visits, err := p.Archive.Visits(ctx, site.ID, oldest, site.Zone)
	if err != nil {
		return nil, err
	}
	var out []Month
	asked := this
	for i := len(visits) - 1; i >= 0; i-- {
		start := season.WinterStart(visits[i].CollectedAt, site.Zone)
		if !start.Before(asked) {
			continue
		}
		asked = start
		hours, err := p.Archive.Hours(ctx, PlaceKey(site), start, start.AddDate(0, winterMonths, 0))
		if err != nil {
			return nil, err
		}
		for m := range winterMonths {
			month := Month{start.AddDate(0, m, 0), start.AddDate(0, m+1, 0), start.Year() + 1}
			if part := hours.Between(month.From, month.To); knownShare(&part) < wholeMonth {
				out = append(out, month)
			}
		}
	}
	return out, nil
}

func knownShare(s *weather.Series) float64 {
	n := 0.0
	for i := range s.Hours() {
		if !math.IsNaN(s.At(weather.TemperatureC, i)) {
			n++
		}
	}
	return n / math.Max(float64(s.Hours()), 1)
}

// Fetch asks for months and keeps them. Progress may be nil. An error says which month was
// not had; those before it are kept.
func (p *PastWeather) Fetch(ctx context.Context, site *forecast.Site, months []Month, progress func(done, of int)) error {
	for i, m := range months {
		if i > 0 {
			if err := p.wait(ctx, betweenMonths); err != nil {
				return err
			}
		}
		patience := afterFailures
		if i == 0 {
			patience = nil // nobody may be there at all
		}
		hours, err := p.month(ctx, site, m, patience)
		if err != nil {
			return fmt.Errorf("weather of %s: %w", m.From.Format("2006-01"), err)
		}
		if err := p.Archive.PutHours(ctx, PlaceKey(site), &hours); err != nil {
			return err
		}
		if progress != nil {
			progress(i+1, len(months))
		}
	}
	return nil
}

// monthsANight is how many months a daemon asks for at a time.
const monthsANight = 3 * winterMonths

// SomeOfIt fetches the months of up to three winters, for a daemon that comes back night
// after night.
func (p *PastWeather) SomeOfIt(ctx context.Context, site *forecast.Site, now time.Time) error {
	missing, err := p.Missing(ctx, site, now)
	if err != nil || len(missing) == 0 {
		return err
	}
	return p.Fetch(ctx, site, missing[:min(len(missing), monthsANight)], nil)
}

func (p *PastWeather) month(ctx context.Context, site *forecast.Site, m Month, patience []time.Duration) (hours weather.Series, err error) {
	for failed := 0; ; failed++ {
		hours, _, err = p.Ask.History(ctx, site.Place, m.From, m.To)
		if err == nil && knownShare(&hours) == 0 {
			err = fmt.Errorf("%s has no temperature of it", p.Ask.Name())
		}
		if err == nil || failed == len(patience) {
			return hours, err
		}
		if stopped := p.wait(ctx, patience[failed]); stopped != nil {
			return hours, stopped
		}
	}
}

func (p *PastWeather) wait(ctx context.Context, d time.Duration) error {
	if p.Wait != nil {
		return p.Wait(ctx, d)
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
