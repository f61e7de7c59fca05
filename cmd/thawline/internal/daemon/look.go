package daemon

import (
	"context"
	"runtime"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// fetch asks for a site's weather, to have it at hand.
func (d *Daemon) fetch(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	d.mu.Lock()
	asker := d.settings.Asker
	d.mu.Unlock()
	_, err := asker.Ask(ctx, site, now)
	return err
}

// refresh asks for weather, makes the outlook and looks whether it changes
// anything that people must know.
func (d *Daemon) refresh(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	o, err := d.look(ctx, site, now)
	if err != nil {
		return err
	}
	return d.decide(ctx, site, o, alerts.Moment{Now: now})
}

// evening tells of tomorrow. Without any outlook it says that nothing is known.
func (d *Daemon) evening(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	o, err := d.look(ctx, site, now)
	if err != nil && ctx.Err() != nil {
		return err // the program ends: this says nothing about the weather
	}
	if err != nil {
		d.Log.Error("no outlook for the evening", "site", site.ID, "error", err)
		return d.stopped(ctx, site, now, err)
	}
	said := forecast.EveningOf(o)
	if err := d.Archive.PutEvening(ctx, site.ID, said.Date, &said); err != nil {
		d.Log.Warn("the evening is not kept to be looked back on", "site", site.ID, "error", err)
	}
	return d.decide(ctx, site, o, alerts.Moment{Now: now, Evening: true})
}

// cores are what outlooks are worked out on.
var cores = make(chan struct{}, runtime.GOMAXPROCS(0))

// look gets the weather and makes the outlook.
func (d *Daemon) look(ctx context.Context, site *forecast.Site, now time.Time) (*forecast.Outlook, error) {
	d.mu.Lock()
	asker := d.settings.Asker
	d.mu.Unlock()
	answer, err := asker.Ask(ctx, site, now)
	for range answer.Passed {
		d.Metrics.sourceFailed(site.ID)
	}
	if err != nil {
		d.Metrics.sourceFailed(site.ID)
		return nil, err
	}
	in := forecast.Inputs{Site: *site, Bulletin: answer.Bulletin, Kept: answer.Kept, Passed: answer.Passed, Now: now, Seed: uint64(now.Unix()/3600) ^ uint64(spread(site.ID))}
	if !answer.Kept {
		past := answer.Bulletin.Course.Between(answer.Bulletin.Course.Start(), now)
		if err := d.Archive.PutHours(ctx, d.PlaceKey(site), &past); err != nil {
			d.Log.Warn("the past weather was not kept", "site", site.ID, "error", err)
		}
	}
	in.Before, in.Visits = d.kept(ctx, site, now)
	cores <- struct{}{}
	o, err := forecast.Make(in)
	<-cores
	if err != nil {
		return nil, err
	}
	d.shelf.put(&o, time.Now())
	if err := d.Archive.PutOutlook(ctx, site.ID, o.IssuedAt, o.Source.IssuedAt, &o); err != nil {
		d.Log.Warn("the outlook is not kept for other daemons and a restart", "site", site.ID, "error", err)
	}
	d.Metrics.outlook(&o)
	d.publish(ctx, site, &o, now)
	if err := d.keepCalendar(ctx, site, &o, now); err != nil {
		d.Log.Warn("the calendar was not kept", "site", site.ID, "error", err)
	}
	return &o, nil
}

// kept is what the archive knows of a site's season; one that can't be read
// takes nothing else away.
func (d *Daemon) kept(ctx context.Context, site *forecast.Site, now time.Time) (weather.Series, []records.Visit) {
	from := SeasonStart(now, site.Zone)
	hours, err := d.Archive.Hours(ctx, d.PlaceKey(site), from, now)
	if err != nil {
		d.Log.Warn("kept weather is left out", "site", site.ID, "error", err)
	}
	stored, err := d.Archive.Visits(ctx, site.ID, from, site.Zone)
	if err != nil {
		d.Log.Warn("records are left out", "site", site.ID, "error", err)
	}
	var visits []records.Visit
	for _, s := range stored {
		visits = append(visits, s.Visit)
	}
	return hours, visits
}

// SeasonStart is the first of November before a moment: winters are followed
// from then.
func SeasonStart(now time.Time, zone *time.Location) time.Time {
	here := now.In(zone)
	year := here.Year()
	if here.Month() < time.November {
		year--
	}
	return time.Date(year, time.November, 1, 0, 0, 0, 0, zone)
}
