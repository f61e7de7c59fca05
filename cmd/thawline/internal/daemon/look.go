package daemon

import (
	"context"
	"errors"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/weather/source"
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
	return d.decideAndPublish(ctx, site, o, alerts.Moment{Now: now})
}

// evening tells of tomorrow, and with it asks what became of yesterday's warning. Without any outlook it says that nothing is known.
func (d *Daemon) evening(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	o, err := d.look(ctx, site, now)
	if err != nil && ctx.Err() != nil {
		return err // the program ends: this says nothing about the weather
	}
	if err != nil && d.allPulled(ctx, site, now) {
		return nil // nobody waits for what tomorrow brings
	}
	if err != nil {
		d.Log.Error("no outlook for the evening", "site", site.ID, "error", err)
		return errors.Join(d.decideWithout(ctx, site, now, err), d.judge(ctx, site, now))
	}
	if o.Season.Closed == nil {
		said := forecast.EveningOf(o)
		if err := d.Archive.PutEvening(ctx, site.ID, said.Date, &said); err != nil {
			d.Log.Warn("the evening is not kept to be looked back on", "site", site.ID, "error", err)
		}
	}
	first, err := d.firstEvening(ctx, site)
	if err != nil {
		d.Log.Error("the ledger can't be read", "site", site.ID, "error", err) // and nothing is decided
	}
	err = errors.Join(d.decide(ctx, site, o, alerts.Moment{Now: now, Evening: true, First: first}), d.judge(ctx, site, now))
	d.publish(ctx, site, o, now)
	return err
}

// decideAndPublish gives the outlook to machines once people's messages are on their
// way: a broker that does not answer keeps nobody waiting.
func (d *Daemon) decideAndPublish(ctx context.Context, site *forecast.Site, o *forecast.Outlook, at alerts.Moment) error {
	err := d.decide(ctx, site, o, at)
	d.publish(ctx, site, o, at.Now)
	return err
}

// look gets the weather and makes the outlook.
func (d *Daemon) look(ctx context.Context, site *forecast.Site, now time.Time) (*forecast.Outlook, error) {
	answer, err := d.ask(ctx, site, now)
	if err != nil {
		return nil, err
	}
	if !answer.Kept {
		past := answer.Bulletin.Course.Between(answer.Bulletin.Course.Start(), now)
		if err := d.Archive.PutHours(ctx, d.PlaceKey(site), &past); err != nil {
			d.Log.Warn("the past weather was not kept", "site", site.ID, "error", err)
		}
	}
	if err := d.fromThermometer(ctx, site, now); err != nil {
		d.Log.Warn("what the thermometer said is left out", "site", site.ID, "error", err)
	}
	return d.makeOutlook(ctx, site, &answer, now)
}

func (d *Daemon) eveningAt() time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.settings.EveningAt
}

// ask asks for a site's weather and holds on to it.
func (d *Daemon) ask(ctx context.Context, site *forecast.Site, now time.Time) (Answer, error) {
	d.mu.Lock()
	asker := d.settings.Asker
	d.mu.Unlock()
	answer, err := asker.Ask(ctx, site, now)
	for _, over := range answer.PassedOver {
		d.Metrics.SourceFailed(site.ID, over.Service)
	}
	d.countWarnings(site, &answer.Warnings)
	if err == nil {
		d.remakes.hold(site.ID, &answer)
	}
	return answer, err
}

// makeOutlook works out an outlook from weather and from the records as they stand, and
// puts it where everybody finds it. One at a time is made for a site, so that an older
// one never takes the place of a newer.
func (d *Daemon) makeOutlook(ctx context.Context, site *forecast.Site, answer *Answer, now time.Time) (*forecast.Outlook, error) {
	defer d.remakes.begin(site.ID)()
	if last := d.shelf.newest(site.ID); last != nil && last.IssuedAt.After(now) {
		now = last.IssuedAt // made again while services were asked
	}
	in := forecast.Inputs{Site: *site, Bulletin: answer.Bulletin, Kept: answer.Kept, PassedOver: answer.PassedOver, Watch: answer.Warnings, Now: now, Seed: forecast.SeedOf(site, now), EveningAt: d.eveningAt()}
	written, kept := d.Archive.ChangesOf(ctx, site.ID)
	if kept != nil {
		d.Log.Warn("how many records there are can't be seen", "site", site.ID, "error", kept)
	}
	if in.Before, in.Visits, in.TapEvents, kept = d.Archive.Kept(ctx, site.ID, d.PlaceKey(site), season.WinterStart(now, site.Zone), now); kept != nil {
		d.Log.Warn("some of the kept weather and records is left out", "site", site.ID, "error", kept)
	}
	if in.Attendance, kept = Attendance(ctx, d.Archive, site, now); kept != nil {
		d.Log.Warn("what people said of rounds is left out", "site", site.ID, "error", kept)
	}
	if in.House, kept = House(ctx, d.Archive, site, now); kept != nil {
		d.Log.Warn("the sugarhouse's book is left out", "site", site.ID, "error", kept)
	}
	if in.Classes, kept = d.Archive.Classes(ctx, site.ID, now, site.Zone); kept != nil {
		d.Log.Warn("visits of classes are left out", "site", site.ID, "error", kept)
	}
	if in.Observed, kept = Observed(ctx, d.Archive, site, now); kept != nil {
		d.Log.Warn("what was seen in the bush is left out", "site", site.ID, "error", kept)
	}
	if in.Taught, kept = Taught(ctx, d.Archive, site, d.PlaceKey(site), now); kept != nil {
		d.Log.Warn("what earlier seasons taught is left out", "site", site.ID, "error", kept)
	}
	o, err := reckon(ctx, in)
	if err != nil {
		return nil, err
	}
	d.shelf.put(&o, time.Now())
	d.remakes.note(site.ID, written, true)
	if err := d.Archive.PutOutlook(ctx, site.ID, o.IssuedAt, o.Source.IssuedAt, &o); err != nil {
		d.Log.Warn("the outlook is not kept for other daemons and a restart", "site", site.ID, "error", err)
	}
	d.Metrics.Outlook(&o)
	if err := d.keepCalendar(ctx, site, &o, now); err != nil {
		d.Log.Warn("the calendar was not kept", "site", site.ID, "error", err)
	}
	return &o, nil
}

// countWarnings counts the services that did not say what official warnings there are.
func (d *Daemon) countWarnings(site *forecast.Site, w *forecast.Watch) {
	for _, over := range w.Faults {
		d.Metrics.SourceFailed(site.ID, source.WarningsOf(over.Service))
	}
}
