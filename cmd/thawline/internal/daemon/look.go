package daemon

import (
	"context"
	"errors"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/forecast"
	"thawline/forecast/archive"
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
	o, err := d.look(ctx, site, now, false)
	if err != nil {
		return err
	}
	return d.decideAndPublish(ctx, site, o, alerts.Moment{Now: now})
}

// evening tells of tomorrow, and with it asks what became of yesterday's warning. Without any outlook it says that nothing is known.
func (d *Daemon) evening(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	o, err := d.look(ctx, site, now, true)
	if err != nil && ctx.Err() != nil {
		return err // the program ends: this says nothing about the weather
	}
	if err != nil && d.allPulled(ctx, site, now) {
		return nil // nobody waits for what tomorrow brings
	}
	if err != nil {
		d.Log.Error("no outlook for the evening", "site", site.ID, "error", err)
		err = d.decideWithout(ctx, site, now, err)
		past, fault := d.past(ctx, site, now)
		if fault == nil {
			fault = d.judge(ctx, site, past, now)
		}
		return errors.Join(err, fault)
	}
	err = d.decideEvening(ctx, site, o, now)
	d.publish(ctx, site, o, now)
	return err
}

// decideEvening decides what there is to tell in an evening, and what is to be asked about
// earlier warnings.
func (d *Daemon) decideEvening(ctx context.Context, site *forecast.Site, o *forecast.Outlook, now time.Time) error {
	past, err := d.past(ctx, site, now)
	if err != nil {
		return err // and nothing is decided
	}
	err = d.decideBy(ctx, site, o, alerts.Moment{Now: now, Evening: true, First: firstEvening(past, site)}, past)
	return errors.Join(err, d.judge(ctx, site, past, now))
}

// decideAndPublish gives the outlook to machines once people's messages are on their
// way: a broker that does not answer keeps nobody waiting.
func (d *Daemon) decideAndPublish(ctx context.Context, site *forecast.Site, o *forecast.Outlook, at alerts.Moment) error {
	err := d.decide(ctx, site, o, at)
	d.publish(ctx, site, o, at.Now)
	return err
}

// looked is the outlook of a site's present work: what is due of it at one moment, as at a
// start in the evening, is one look.
type looked struct {
	outlook *forecast.Outlook // nil before the first, and where services had nothing new
	asked   time.Time
}

type lookedKey struct{}

// look gets the weather and makes the outlook, of an evening to be looked back on.
func (d *Daemon) look(ctx context.Context, site *forecast.Site, now time.Time, evening bool) (*forecast.Outlook, error) {
	last, _ := ctx.Value(lookedKey{}).(*looked)
	if last != nil && last.outlook != nil && last.asked.Equal(now) && !d.Behind(ctx, site.ID) {
		if evening && last.outlook.Season.Closed == nil {
			said := forecast.EveningOf(last.outlook)
			if err := d.Archive.PutEvening(ctx, site.ID, said.Date, &said); err != nil {
				d.Log.Warn("the evening is not kept to be looked back on", "site", site.ID, "error", err)
			}
		}
		return last.outlook, nil
	}
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
	o, err := d.makeOutlook(ctx, site, &answer, now, evening)
	if err == nil && last != nil && !answer.Kept {
		*last = looked{o, now}
	}
	return o, err
}

func (d *Daemon) eveningAt() time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.settings.EveningAt
}

// ask asks for a site's weather and holds on to it.
func (d *Daemon) ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	d.mu.Lock()
	asker := d.settings.Asker
	d.mu.Unlock()
	answer, err := asker.Ask(ctx, site, now)
	for _, over := range answer.PassedOver {
		d.Metrics.SourceFailed(site.ID, over.Service)
	}
	d.countWarnings(site, &answer.Watch)
	if err == nil {
		d.remakes.hold(site.ID, &answer)
	}
	return answer, err
}

// makeOutlook works out an outlook from weather and from the records as they stand, and
// puts it where everybody finds it. One at a time is made for a site, so that an older
// one never takes the place of a newer.
func (d *Daemon) makeOutlook(ctx context.Context, site *forecast.Site, answer *forecast.Inputs, now time.Time,
	evening bool) (*forecast.Outlook, error) {
	defer d.remakes.begin(site.ID)()
	if last := d.shelf.newest(site.ID); last != nil && last.IssuedAt.After(now) {
		now = last.IssuedAt // made again while services were asked
	}
	in := *answer
	in.Site, in.Now, in.Seed, in.EveningAt, in.Memory = *site, now, forecast.SeedOf(site, now), d.eveningAt(), &d.learnt
	in.AsksTaps = true
	calendar := map[string]feed.Entry{}
	entries := ledger.EntriesOf(site.ID, now, calendar)
	pauses := map[string]time.Time{}
	paused := ledger.PausesOf(now, pauses)
	var newRound ledger.NewRound
	news := ledger.NewRoundOf(site.ID, &newRound)
	kept := seasonOf(ctx, d.Archive, site, d.PlaceKey(site), now, entries, paused, news)
	if news.Err != nil {
		d.Log.Warn("the news of a round is left out of an outlook", "site", site.ID, "error", news.Err)
	}
	if paused.Err != nil {
		d.Log.Warn("who pauses is left out of an outlook", "site", site.ID, "error", paused.Err)
	}
	for i := range kept.LeftOut {
		d.Log.Warn("something that is kept is left out of an outlook", "what", kept.LeftOut[i].Of, "site", site.ID, "error",
			kept.LeftOut[i].Err)
	}
	in.Told = toldBy(kept.Evening, &newRound)
	in.Before, in.Visits, in.TapEvents, in.Attendance, in.House, in.Observed, in.Classes = kept.Hours, kept.Visits, kept.TapEvents,
		kept.Attendance, kept.House, kept.Observed, kept.Classes
	in.Attendance = append(in.Attendance, PausedAway(site, pauses, d.pausedUntil, now)...)
	var untaught error
	if in.Taught, untaught = taughtBy(ctx, d.Archive, site, d.PlaceKey(site), &kept, now); untaught != nil {
		d.Log.Warn("what earlier seasons taught is left out", "site", site.ID, "error", untaught)
	}
	if site.Shares.Seen {
		if err := d.eyes.first(ctx, d.Archive, now); err != nil {
			d.Log.Warn("what was seen near by is left out", "site", site.ID, "error", err)
		}
	}
	in.Near = d.eyes.near(site, d.sharing(), now)
	work := reckon
	if d.reckoner != nil {
		work = d.reckoner
	}
	o, err := work(ctx, in)
	if err != nil {
		return nil, err
	}
	d.made.Add(1)
	d.shelf.put(&o, time.Now())
	seen := sightingOf(site, &o)
	sighting, untold := d.eyes.keep(&seen)
	d.remakes.knows(site.ID, kept.Changes, o.IssuedAt)
	made := archive.Made{Site: site.ID, Made: o.IssuedAt, Issued: o.Source.IssuedAt, Outlook: &o}
	if evening && o.Season.Closed == nil {
		said := forecast.EveningOf(&o)
		made.Date, made.Evening = said.Date, &said
	}
	var changed []*archive.Question
	fault := entries.Err
	if fault == nil {
		changed, fault = d.calendarOf(site, &o, calendar, now)
	}
	also := changed
	if sighting != nil {
		also = append(slices.Clone(changed), sighting)
	}
	if err := d.Archive.PutMade(ctx, &made, also...); err != nil {
		d.Log.Warn("the outlook is not kept for other daemons and a restart", "site", site.ID, "error", err)
	}
	for _, q := range changed {
		fault = errors.Join(fault, q.Err)
	}
	if sighting != nil {
		untold = errors.Join(untold, sighting.Err)
	}
	if untold != nil {
		d.Log.Warn("what was seen here is not told to bushes near by", "site", site.ID, "error", untold)
	}
	if fault != nil {
		d.Log.Warn("the calendar was not kept", "site", site.ID, "error", fault)
	}
	d.Metrics.Outlook(&o)
	return &o, nil
}

// Made is how many outlooks were made here so far.
func (d *Daemon) Made() uint64 { return d.made.Load() }

// countWarnings counts the services that did not say what official warnings there are.
func (d *Daemon) countWarnings(site *forecast.Site, w *forecast.Watch) {
	for _, over := range w.Faults {
		d.Metrics.SourceFailed(site.ID, source.WarningsOf(over.Service))
	}
}
