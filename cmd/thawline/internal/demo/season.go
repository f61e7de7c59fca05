package demo

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"math"
	"time"

	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// fill puts the demonstration's notebook and the weather of its springs into
// an archive, as the years would have.
func fill(ctx context.Context, a *archive.Archive, site *forecast.Site, now time.Time) error {
	winter, err := winter(now)
	if err != nil {
		return err
	}
	springs, err := springs(site, now)
	if err != nil {
		return err
	}
	for i := range springs {
		if err := a.PutHours(ctx, app.PlaceKey(site), &springs[i]); err != nil {
			return err
		}
	}
	if err := a.PutHours(ctx, app.PlaceKey(site), &winter); err != nil {
		return err
	}
	visits, err := Visits(site)
	if err != nil {
		return err
	}
	for i := range visits {
		visits[i].Site = site.ID
	}
	_, err = a.PutVisits(ctx, visits, "Odell", now)
	return err
}

// springs are the hours of the three springs before this one.
func springs(site *forecast.Site, now time.Time) ([]weather.Series, error) {
	data, err := testdata.Files.ReadFile("earlier.csv")
	if err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	days, err := weather.ReadDailyCSV(bytes.NewReader(data), "earlier.csv")
	if err != nil {
		return nil, err
	}
	var springs []weather.Series
	for year := now.Year() - 3; year < now.Year(); year++ {
		spring := days.Between(time.Date(year-1, 12, 1, 0, 0, 0, 0, time.UTC), time.Date(year, 6, 1, 0, 0, 0, 0, time.UTC))
		springs = append(springs, spring.Hourly(site.Place))
	}
	return springs, nil
}

// taught is what those springs and their part of the notebook taught.
func taught(site *forecast.Site, visits []records.Visit, now time.Time) (forecast.Taught, error) {
	springs, err := springs(site, now)
	if err != nil {
		return forecast.Taught{}, err
	}
	from, to := forecast.EarlierWinters(now, site.Zone)
	seasons := notebook.Earlier(visits, nil, from, to)
	for i := range springs { // the last ones
		seasons[len(seasons)-len(springs)+i].Weather = springs[i]
	}
	return forecast.Teach(site, seasons)
}

// Visits are what the demonstration's notebook says.
func Visits(site *forecast.Site) ([]records.Visit, error) {
	data, err := testdata.Files.ReadFile("records.csv")
	if err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	return records.ReadCSV(bytes.NewReader(data), "records.csv", site.Zone)
}

// hindsight forecasts the evenings before the demonstration's own as a service
// would have: the weather that came, with the errors that forecasts have. From
// the demonstration's evening on the services answer.
type hindsight struct {
	truth    weather.Series
	services *app.Provider
	from     time.Time
}

func (h *hindsight) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	if !now.Before(h.from) {
		return h.services.Ask(ctx, site, now)
	}
	split := h.truth.Index(now) + 1
	ahead := h.truth.Slice(split, split+10*24)
	erring := weather.ErrorMembers(&ahead, site.Place, now, 2, uint64(now.Unix()))[1]
	past := h.truth.Slice(max(split-app.PastDays*24, 0), split)
	return forecast.Inputs{Bulletin: weather.Bulletin{Source: "demonstration", IssuedAt: now.Add(-time.Hour), FetchedAt: now,
		Course: past.Overlay(&erring), ElevationM: math.NaN()}}, nil
}

// shown is a channel of the demonstration: what is sent stays on its pages.
type shown struct{}

func (shown) Send(context.Context, channel.Message) (string, error) { return "shown", nil }

// Days is how many evenings the demonstration looks back on.
const Days = 24

// replay lets the daemon live through the weeks before the demonstration's
// evening.
func replay(ctx context.Context, d *daemon.Daemon, env app.Env, c *config.Config, now time.Time, days int) error {
	whole, err := winter(now.AddDate(0, 1, 0))
	if err != nil {
		return err
	}
	chain, _, err := app.Services(env, c, app.Storage{Transport: testdata.Transport()})
	if err != nil {
		return err
	}
	s := daemon.Settings{Asker: &hindsight{whole, &app.Provider{Services: chain}, now.Add(-12 * time.Hour)},
		Channels:  map[string]channel.Channel{"shown": shown{}},
		EveningAt: c.Serve.EveningAt, RefreshEvery: 24 * time.Hour, Thresholds: c.Alerts}
	for i := range c.Sites {
		site := c.Sites[i]
		app.AddCrew(&site, c.People)
		s.Sites = append(s.Sites, site)
	}
	for i := range c.People {
		p := app.Person(&c.People[i], c)
		p.Ways = []channel.Way{{Channel: "shown", To: p.ID}}
		s.People = append(s.People, p)
	}
	start := now.AddDate(0, 0, -days)
	log := d.Log
	d.Log = slog.New(slog.DiscardHandler)
	defer func() { d.Log = log }()
	if err := d.Use(s, start); err != nil {
		return err
	}
	for at := start; at.Before(now); at = at.Add(time.Hour) {
		if next := d.NextDue(at); next.After(at.Add(time.Hour)) {
			continue
		}
		d.Step(ctx, at.Add(time.Hour))
	}
	s.RefreshEvery = c.Serve.RefreshEvery
	if err := d.Use(s, now); err != nil { // asks anew at once
		return err
	}
	d.Step(ctx, now)
	return nil
}
