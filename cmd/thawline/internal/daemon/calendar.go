package daemon

import (
	"fmt"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/units"
)

const (
	inCalendar     = 0.5 // chance of a run from which a day stands in the calendar
	roundsPlanned  = 48 * time.Hour
	calendarLength = 10 // days
)

// calendarOf is what brings the site's calendar, as it was read, up to its outlook.
func (d *Daemon) calendarOf(site *forecast.Site, o *forecast.Outlook, have map[string]feed.Entry, now time.Time) ([]*archive.Question,
	error) {
	w, err := d.Words(message.Reader{Language: "en", Units: units.Metric})
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	for _, p := range slices.Concat(d.people[""], d.people[site.ID]) { // the calendar speaks as the first keeper does
		if auth.Role(p.Role) == auth.Keeper {
			w, err = d.Words(p.Reader)
			break
		}
	}
	d.mu.Unlock()
	if err != nil {
		return nil, err
	}
	return ledger.EntriesChanged(site.ID, have, entriesOf(site, o, w, now), now)
}

func entriesOf(site *forecast.Site, o *forecast.Outlook, w *message.Words, now time.Time) []feed.Entry {
	var out []feed.Entry
	for _, day := range o.Days[min(1, len(o.Days)):min(calendarLength, len(o.Days))] {
		if day.RunProbability < inCalendar {
			continue
		}
		start, err := time.ParseInLocation(time.DateOnly, day.Date, site.Zone)
		if err != nil {
			continue
		}
		summary, text := w.CalendarDay(site.Name, &day)
		out = append(out, feed.Entry{UID: feed.UID(site.ID, string(alerts.RunEntry), day.Date), Start: start,
			End: start.AddDate(0, 0, 1), AllDay: true,
			Summary: summary, Text: text})
	}
	count := map[string]int{}
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		if r.Start.Sub(now) > roundsPlanned {
			break
		}
		date := r.Start.Format(time.DateOnly)
		count[date]++
		summary, text := w.CalendarRound(&o.Bush, r)
		out = append(out, feed.Entry{UID: feed.UID(site.ID, fmt.Sprintf("%s%d", alerts.RoundEntry, count[date]), date), Start: r.Start,
			End: r.Start.Add(time.Duration(max(r.Minutes, 15)) * time.Minute), Summary: summary, Text: text})
	}
	for _, b := range o.Boil {
		if b.Start == nil || b.Start.Sub(now) > roundsPlanned {
			continue
		}
		n, unit := w.RoughVolume(b.SapL)
		out = append(out, feed.Entry{UID: feed.UID(site.ID, string(alerts.BoilEntry), b.Date), Start: *b.Start, End: *b.End,
			Summary: w.Say("calendar_boil", map[string]any{"Name": site.Name}),
			Text:    w.Say("calendar_run_text", map[string]any{"Volume": n, "Unit": unit})})
	}
	return out
}
