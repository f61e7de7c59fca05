package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// Watcher gets the official warnings of a site without its weather.
type Watcher interface {
	Warnings(ctx context.Context, site *forecast.Site, now time.Time) forecast.Watch
}

// How often official warnings are asked for between two looks at the weather; services
// ask not to be asked more than every ten minutes.
const (
	watchEvery     = 30 * time.Minute
	watchEveryMany = time.Hour
)

// watch asks for official warnings while somebody may go out within a day, and makes the
// outlook again where they have changed.
func (d *Daemon) watch(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	d.mu.Lock()
	watcher, watches := d.settings.Asker.(Watcher)
	d.mu.Unlock()
	o := d.shelf.newest(site.ID)
	if !watches || o == nil || !outSoon(o, now) {
		return nil
	}
	got := watcher.Warnings(ctx, site, now)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	d.countWarnings(site, &got)
	if !changedWarnings(&o.Warnings, got.Current(now), now) {
		return nil
	}
	answer := d.remakes.answer(site.ID)
	if answer == nil {
		return d.refresh(ctx, site, now, now)
	}
	fresh := *answer
	fresh.Watch = got
	d.remakes.hold(site.ID, &fresh)
	o, err := d.makeOutlook(ctx, site, &fresh, now, false)
	if err != nil {
		return err
	}
	return d.decideAndPublish(ctx, site, o, alerts.Moment{Now: now})
}

// outSoon reports whether sap may run, or somebody goes round, within a day.
func outSoon(o *forecast.Outlook, now time.Time) bool {
	const soon, mayRun = 24 * time.Hour, 0.25
	if !o.Season.Tapped || o.Season.Stage == season.Over || o.Season.Closed != nil {
		return false
	}
	for i := range o.Work.Rounds {
		if r := &o.Work.Rounds[i]; r.End.After(now) && r.Start.Before(now.Add(soon)) {
			return true
		}
	}
	if d := o.Work.Dangers; len(d) > 0 && d[0].From.Before(now.Add(soon)) { // it may be called off
		return true
	}
	today := now.In(o.IssuedAt.Location()).Format(time.DateOnly)
	tomorrow := now.Add(soon).In(o.IssuedAt.Location()).Format(time.DateOnly)
	return slices.ContainsFunc(o.Days, func(d forecast.Day) bool {
		return (d.Date == today || d.Date == tomorrow) && d.RunProbability >= mayRun
	})
}

// changedWarnings reports whether warnings say anything that an outlook does not.
func changedWarnings(was *forecast.Official, got weather.Warnings, now time.Time) bool {
	before := weather.Warnings{State: was.State, List: was.List}.Current(now)
	return before.State != got.State || !slices.EqualFunc(before.List, got.List, func(a, b weather.Warning) bool {
		return a.ID == b.ID && a.Severity == b.Severity && a.From.Equal(b.From) && a.To.Equal(b.To)
	})
}
