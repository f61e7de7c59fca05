// Package lookback reads a season of a bush from the archive, and finds out what became of
// what its evenings said.
package lookback

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/verify"
	"thawline/forecast/weather"
)

// Archive keeps what a season is worked out from.
type Archive interface {
	Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error)
	VisitsWithin(ctx context.Context, site string, from, to time.Time, zone *time.Location) ([]archive.Stored, error)
	TapEvents(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredTap, error)
	Observations(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredObservation, error)
	Evenings(ctx context.Context, site, from string) ([]json.RawMessage, error)
}

// Taught tells what the seasons before a moment taught about a site.
type Taught func(ctx context.Context, site *forecast.Site, at time.Time) (forecast.Taught, error)

// Span is a season: from the first of November before it to the end of June, or to now.
func Span(year int, zone *time.Location, now time.Time) (from, to time.Time) {
	from = time.Date(year-1, time.November, 1, 0, 0, 0, 0, zone)
	to = Over(year, zone)
	if to.After(now) {
		to = now
	}
	return from, to
}

// Over is when a season is over.
func Over(year int, zone *time.Location) time.Time {
	return time.Date(year, time.July, 1, 0, 0, 0, 0, zone)
}

// LateVisit is how long after the end of a season, or after now, a visit still counts: clocks differ.
const LateVisit = time.Hour

// Inputs reads what a look back on a season depends on, but for what earlier ones taught;
// known is false where no weather of it is kept. place is the key of the site's weather.
func Inputs(ctx context.Context, a Archive, site *forecast.Site, place string, from, to time.Time) (in forecast.PastInputs, known bool,
	err error) {
	in = forecast.PastInputs{Site: *site, From: from, To: to}
	if in.Weather, err = a.Hours(ctx, place, from, to); err != nil || in.Weather.Hours() == 0 {
		return in, false, err
	}
	visits, err := a.VisitsWithin(ctx, site.ID, from, to.Add(LateVisit), site.Zone)
	if err != nil {
		return in, false, err
	}
	for i := range visits {
		in.Visits = append(in.Visits, visits[i].Visit)
	}
	events, err := a.TapEvents(ctx, site.ID, from, site.Zone)
	if err != nil {
		return in, false, err
	}
	for i := range events {
		in.Taps = append(in.Taps, events[i].TapEvent)
	}
	in.Observed, err = observed(ctx, a, site, from)
	return in, err == nil, err
}

func observed(ctx context.Context, a Archive, site *forecast.Site, from time.Time) (list []records.Observation, err error) {
	seen, err := a.Observations(ctx, site.ID, from, site.Zone)
	for i := range seen {
		list = append(list, seen[i].Observation)
	}
	return list, err
}

// Evenings reads what evenings said from a moment to another.
func Evenings(ctx context.Context, a Archive, site *forecast.Site, from, to time.Time) ([]forecast.Evening, error) {
	documents, err := a.Evenings(ctx, site.ID, from.In(site.Zone).Format(time.DateOnly))
	if err != nil {
		return nil, err
	}
	var out []forecast.Evening
	for _, d := range documents {
		var e forecast.Evening
		if err := json.Unmarshal(d, &e); err != nil {
			return nil, fmt.Errorf("a kept evening: %w", err)
		}
		if !e.IssuedAt.After(to) {
			out = append(out, e)
		}
	}
	return out, nil
}

// Lots are the boils of a season, of what its book says.
func Lots(ctx context.Context, a House, in *forecast.PastInputs) ([]forecast.Lot, error) {
	stored, err := a.House(ctx, in.Site.ID, in.From, in.Site.Zone)
	var book []records.HouseEntry
	for i := range stored {
		book = append(book, stored[i].HouseEntry)
	}
	return forecast.Lots(&in.Site, in.Visits, book, in.To), err
}

// House keeps the sugarhouse's book.
type House interface {
	House(ctx context.Context, site string, from time.Time, zone *time.Location) ([]archive.StoredHouse, error)
}

// Review is why a season's evenings were off, and what one thing more would have changed.
// Without weather of the season it holds only its year.
func Review(ctx context.Context, a Archive, taught Taught, site *forecast.Site, place string, year int,
	now time.Time) (sections.Reviewed, error) {
	r := sections.Reviewed{Year: year, Missed: []forecast.Miss{}}
	from, to := Span(year, site.Zone, now)
	if !to.After(from) {
		return r, nil
	}
	in, known, err := Inputs(ctx, a, site, place, from, to)
	if err != nil || !known {
		return r, err
	}
	if in.Taught, err = taught(ctx, site, to); err != nil {
		return r, err
	}
	evenings, err := Evenings(ctx, a, site, from, to)
	if err != nil {
		return r, err
	}
	past, err := forecast.LookBack(in)
	if err != nil {
		return r, err
	}
	told := verify.Told(evenings, past.Visits, site)
	r.Rounds = len(told)
	if r.Missed, err = forecast.Review(in, verify.Missed(told)); err != nil {
		return r, err
	}
	more, ok, err := forecast.IfMore(in)
	if err == nil && ok {
		r.IfMore = &more
	}
	return r, err
}
