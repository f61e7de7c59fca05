package daemon

import (
	"context"
	"errors"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// telling is a decision and its words for whoever hears it.
type telling struct {
	decision alerts.Decision
	words    func(*message.Words) string
}

// decide asks the rules and records what is new.
func (d *Daemon) decide(ctx context.Context, site *forecast.Site, o *forecast.Outlook, at alerts.Moment) error {
	past, err := d.past(ctx, site, at.Now)
	if err != nil {
		return err
	}
	return d.decideBy(ctx, site, o, at, past)
}

// past is what was said of a site, and who was there since.
type past struct {
	*ledger.Past
	visits []archive.Stored            // since warnings are looked back on
	looks  []archive.StoredObservation // since then
}

// past reads what the ledger knows of a site and the people whom it concerns.
func (d *Daemon) past(ctx context.Context, site *forecast.Site, now time.Time) (*past, error) {
	a := ledger.Asking{Site: site.ID, VerdictsSince: alerts.TaughtSince(now), Judged: judged(), WarnedSince: now.Add(-warnedWithin),
		Now: now}
	for _, p := range d.concerned(site.ID) {
		a.People = append(a.People, p.ID)
	}
	p := &past{}
	var err error
	p.Past, err = d.Ledger.Past(ctx, a, archive.VisitsFrom(site.ID, a.WarnedSince, site.Zone, &p.visits),
		archive.ObservationsFrom(site.ID, a.WarnedSince, site.Zone, &p.looks))
	return p, err
}

// concerned are the people whom a site concerns.
func (d *Daemon) concerned(site string) []*channel.Person {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Concat(d.people[""], d.people[site])
}

func (d *Daemon) decideBy(ctx context.Context, site *forecast.Site, o *forecast.Outlook, at alerts.Moment, past *past) error {
	d.mu.Lock()
	settings := d.settings.Thresholds
	d.mu.Unlock()
	list, err := alerts.Decide(o, past, at, settings.Tuned(past.Verdicts, at.Now))
	if err != nil {
		return err
	}
	var all []telling
	for _, decision := range list {
		all = append(all, telling{decision, func(w *message.Words) string { return w.Alert(&decision, o) }})
	}
	return d.recordBy(ctx, site, all, at.Now, past)
}

// decideWithout tells what there is to tell in an evening without an outlook.
func (d *Daemon) decideWithout(ctx context.Context, site *forecast.Site, now time.Time, why error) error {
	n := alerts.NoWeather{Site: site.ID, Zone: site.Zone, Why: why.Error()}
	if last := d.Outlook(ctx, site.ID); last != nil {
		n.Since = last.Source.IssuedAt
	}
	var err error
	if n.Spring, err = d.springOf(ctx, site, now.In(site.Zone)); err != nil {
		return err
	}
	list, err := alerts.DecideWithoutWeather(&n, d.Ledger.Memory(ctx), now)
	if err != nil {
		return err
	}
	var all []telling
	for _, decision := range list {
		all = append(all, telling{decision, func(w *message.Words) string { return w.WithoutWeather(&decision, site.Name, site.Zone) }})
	}
	return d.recordAll(ctx, site, all, now)
}

// springOf is where in its season a site is by its place, its settings and its records,
// without any weather.
func (d *Daemon) springOf(ctx context.Context, site *forecast.Site, here time.Time) (alerts.Spring, error) {
	s := alerts.Spring{Stage: season.StageAt(here, season.UsualEnd(site.Place.LatitudeDeg, site.Place.ElevationM, here))}
	winter := season.WinterStart(here, site.Zone)
	for i := range site.Groups {
		s.Tapped = s.Tapped || site.Groups[i].Tapped.After(winter) && site.Groups[i].Tapped.Before(here)
	}
	events, noTaps := d.Archive.TapEvents(ctx, site.ID, winter, site.Zone)
	for i := range events {
		s.Tapped = true
		if e := &events[i]; e.Kind == records.Tapped && e.On.After(s.LastVisit) { // somebody is at work there
			s.LastVisit = e.On
		}
	}
	visits, err := d.Archive.Visits(ctx, site.ID, winter, site.Zone)
	for i := range visits {
		s.Tapped = true
		if visits[i].CollectedAt.After(s.LastVisit) {
			s.LastVisit = visits[i].CollectedAt
		}
	}
	return s, errors.Join(err, noTaps)
}

// firstEvening reports whether a site has never had an evening before.
func firstEvening(past *past, site *forecast.Site) bool {
	for _, k := range []alerts.Kind{alerts.ItWorks, alerts.Evening} {
		if _, _, told, err := past.Last(site.ID, k, ""); err != nil || told {
			return false
		}
	}
	return true
}

// record writes down one decision and who is to be told.
func (d *Daemon) record(ctx context.Context, site *forecast.Site, decision alerts.Decision, now time.Time,
	words func(*message.Words) string) error {
	return d.recordAll(ctx, site, []telling{{decision, words}}, now)
}

// recordAll writes down what was decided at one moment and who is to be told: of what one
// person hears there is one message.
func (d *Daemon) recordAll(ctx context.Context, site *forecast.Site, list []telling, now time.Time) error {
	return d.recordBy(ctx, site, list, now, nil)
}

// recordBy is recordAll, where it was read already who wants no messages; nil where not.
func (d *Daemon) recordBy(ctx context.Context, site *forecast.Site, list []telling, now time.Time, past *past) error {
	if len(list) == 0 {
		return nil
	}
	var all []ledger.Telling
	for i := range list {
		to, err := d.recipientsOf(ctx, site, &list[i], now, past)
		if err != nil {
			return err
		}
		all = append(all, ledger.Telling{Decision: list[i].decision, To: to})
	}
	written := slices.Clone(all)
	for i := range written {
		written[i].To = d.notToldAnyway(site.ID+" "+written[i].Decision.Key, written[i].To)
	}
	fresh, err := d.Ledger.RecordAll(ctx, written, now)
	if err != nil {
		d.tellAnyway(ctx, site, all, now)
		return err
	}
	for i := range all {
		decision := &all[i].Decision
		d.recorded(site.ID + " " + decision.Key)
		if fresh[i] {
			d.Metrics.Decided(decision.Kind)
			d.Log.Info("decided", "kind", decision.Kind, "site", site.ID, "key", decision.Key, "people", len(written[i].To))
		}
	}
	return nil
}

// recipientsOf are the people who hear of a decision, each with words of their own.
func (d *Daemon) recipientsOf(ctx context.Context, site *forecast.Site, t *telling, now time.Time, past *past) ([]ledger.Recipient, error) {
	d.mu.Lock()
	link := d.settings.Link
	d.mu.Unlock()
	var hear, beyond []*channel.Person
	for _, p := range d.concerned(site.ID) {
		if !t.decision.Kind.HeardBy(p.Role) {
			continue
		}
		hears, err := d.hearsBy(ctx, p, now, past)
		if err != nil {
			return nil, err
		}
		if hears {
			hear = append(hear, p)
		} else {
			beyond = append(beyond, p)
		}
	}
	hear = d.ofOneBush(&t.decision, hear)
	if t.decision.Urgent && d.watchMany(hear) {
		return d.toNobody(t, d.ofOneBush(&t.decision, beyond))
	}
	isCrew := func(p *channel.Person) bool { return auth.Role(p.Role) == auth.Crew }
	if t.decision.Urgent && link != "" && slices.ContainsFunc(hear, isCrew) { // keepers hear of it if the crew does not answer
		hear = slices.DeleteFunc(hear, func(p *channel.Person) bool { return !isCrew(p) })
	}
	var to []ledger.Recipient
	for _, p := range hear {
		w, err := d.Words(p.Reader)
		if err != nil {
			return nil, err
		}
		r := d.recipient(p, w, t.words)
		if !t.decision.Urgent || !p.BreaksQuiet {
			r.NotBefore = p.Quiet.End(now.In(site.Zone))
		}
		to = append(to, r)
	}
	return to, nil
}

// toNobody are the own people of a bush whom no message reaches, or nobody where it has none,
// with what there was to say: whoever watches many bushes hears of all of those together.
func (d *Daemon) toNobody(t *telling, own []*channel.Person) ([]ledger.Recipient, error) {
	if len(own) == 0 || d.watchMany(own) {
		own = []*channel.Person{{}}
	}
	var to []ledger.Recipient
	for _, p := range own {
		w, err := d.Words(d.readerOf(p.ID))
		if err != nil {
			return nil, err
		}
		to = append(to, ledger.Recipient{Person: p.ID, Words: t.words(w), Beyond: true})
	}
	return to, nil
}

// recipient is a person with what is said to them, as each of their ways has room for.
func (d *Daemon) recipient(p *channel.Person, w *message.Words, say func(*message.Words) string) ledger.Recipient {
	r := ledger.Recipient{Person: p.ID, Words: say(w)}
	if texted := say(w.In(message.Texted)); texted != r.Words {
		r.Texted = texted
	}
	d.mu.Lock()
	called := slices.ContainsFunc(p.Ways, func(way channel.Way) bool {
		_, calls := d.settings.Channels[way.Channel].(*channel.Voice)
		return calls
	})
	d.mu.Unlock()
	if called {
		r.Spoken = say(w.In(message.Aloud))
	}
	return r
}

// hears reports whether a person wants to be told anything now, and can be.
func (d *Daemon) hears(ctx context.Context, p *channel.Person, now time.Time) (bool, error) {
	return d.hearsBy(ctx, p, now, nil)
}

// hearsBy is hears, by what was read already; nil for nothing.
func (d *Daemon) hearsBy(ctx context.Context, p *channel.Person, now time.Time, past *past) (bool, error) {
	if !p.Reachable() || now.Before(p.PausedUntil) {
		return false, nil
	}
	if past != nil {
		if silenced, known := past.Silenced(p.ID); known {
			return !silenced, nil
		}
	}
	silenced, err := d.Ledger.Silenced(ctx, p.ID, now)
	return !silenced, err
}

// peopleBySite finds whom a site concerns; under "" are those whom all do.
func peopleBySite(people []channel.Person) map[string][]*channel.Person {
	by := map[string][]*channel.Person{}
	for i := range people {
		p := &people[i]
		if p.Sites == nil {
			by[""] = append(by[""], p)
		}
		for _, site := range p.Sites {
			by[site] = append(by[site], p)
		}
	}
	return by
}
