package daemon

import (
	"context"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast"
)

const (
	// overviewWaits is how long an overview waits for bushes whose evening is not done:
	// those without weather have none.
	overviewWaits = 45 * time.Minute
	// fewWait is how long it waits for few of many: of thousands some have no weather every
	// evening.
	fewWait = 10 * time.Minute
	few     = 20 // one in so many
	// overviewLate is how late it is still of use.
	overviewLate = 4 * time.Hour
)

// watching is somebody who has an overview coming, at a moment in the zone of their bushes.
type watching struct {
	person *channel.Person
	sites  []*forecast.Site
	due    time.Time // the last evening of theirs
}

// overviews tells those who have many bushes of all of them, once the evening of each is
// done.
func (d *Daemon) overviews(ctx context.Context, now time.Time) {
	if !d.does(Outlook) {
		return
	}
	due := d.watchers(now)
	if len(due) == 0 {
		return
	}
	of, unread, err := d.Summaries(ctx, now)
	if err == nil && unread == 0 {
		for i := range due {
			if err = d.overview(ctx, &due[i], of, now); err != nil {
				break
			}
		}
	}
	if err != nil && ctx.Err() == nil {
		d.Log.Error("the overview of many bushes is told later", "error", err)
	}
}

// watchers are those whose overview of today is due and was not told by this daemon.
func (d *Daemon) watchers(now time.Time) (due []watching) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range d.settings.People {
		p := &d.settings.People[i]
		if !p.Summed(len(d.settings.Sites)) || len(p.Ways) == 0 {
			continue
		}
		w := watching{person: p}
		for k := range d.settings.Sites {
			site := &d.settings.Sites[k]
			if !p.Concerns(site.ID) {
				continue
			}
			y, m, day := now.In(site.Zone).Date()
			evening := time.Date(y, m, day, 0, int(d.settings.EveningAt.Minutes()), 0, 0, site.Zone)
			if w.sites = append(w.sites, site); evening.After(w.due) {
				w.due = evening
			}
		}
		if len(w.sites) == 0 || now.Before(w.due) || now.Sub(w.due) > overviewLate || d.overviewed[p.ID] == w.date() {
			continue
		}
		due = append(due, w)
	}
	return due
}

// date is the local date of the evening.
func (w *watching) date() string { return w.due.Format(time.DateOnly) }

// overview tells somebody of all their bushes, unless some of those are still to come.
func (d *Daemon) overview(ctx context.Context, w *watching, of map[string]Summary, now time.Time) error {
	d.mu.Lock()
	thresholds := d.settings.Thresholds
	d.mu.Unlock()
	var bushes []alerts.BushTomorrow
	late, missing := now.Sub(w.due), 0
	for _, site := range w.sites {
		s := of[site.ID]
		if s.IssuedAt.Before(w.due) {
			missing++
		}
		open := s.Open
		if s.IssuedAt.IsZero() { // it never had weather: its people miss it, and so would the office
			spring, err := d.springOf(ctx, site, now.In(site.Zone))
			if err != nil {
				return err
			}
			open = spring.Open(now.In(site.Zone))
		}
		if open {
			bushes = append(bushes, alerts.BushTomorrow{Name: site.Name, Chance: s.Chance, OverAt: s.OverAt,
				Fresh: s.Verdict != Unknown && now.Sub(s.Weather) < thresholds.StaleAfter})
		}
	}
	if missing > 0 && late < overviewWaits && (late < fewWait || missing*few > len(w.sites)) {
		return nil
	}
	here := now.In(w.due.Location())
	if here.Format(time.DateOnly) != w.date() {
		return nil
	}
	decision, tells, err := alerts.DecideOverview(w.person.ID, bushes, d.Ledger.Memory(ctx), here, thresholds)
	if err != nil {
		return err
	}
	if hears, err := d.hears(ctx, w.person, now); err != nil {
		return err
	} else if tells && hears {
		words, err := d.Words(w.person.Reader)
		if err != nil {
			return err
		}
		r := d.recipient(w.person, words, func(w *message.Words) string { return w.Overview(decision.Facts.Bushes) })
		r.NotBefore = w.person.Quiet.End(here)
		fresh, err := d.Ledger.Record(ctx, decision, []ledger.Recipient{r}, now)
		if err != nil {
			return err
		}
		if fresh {
			d.Metrics.Decided(decision.Kind)
			d.Log.Info("decided", "kind", decision.Kind, "key", decision.Key, "bushes", len(bushes))
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.overviewed == nil {
		d.overviewed = map[string]string{}
	}
	d.overviewed[w.person.ID] = w.date()
	return nil
}

// ofOneBush are those of some people who hear of a decision about one bush: whoever has many
// hears of one only what can't wait, and where nobody who belongs to it does.
func (d *Daemon) ofOneBush(decision *alerts.Decision, hear []*channel.Person) []*channel.Person {
	d.mu.Lock()
	bushes := len(d.settings.Sites)
	d.mu.Unlock()
	own := make([]*channel.Person, 0, len(hear))
	for _, p := range hear {
		if !p.Summed(bushes) {
			own = append(own, p)
		}
	}
	if len(own) == 0 && (decision.Urgent || decision.Kind.OfClass()) {
		return hear
	}
	return own
}
