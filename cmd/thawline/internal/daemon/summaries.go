package daemon

import (
	"context"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"thawline/alerts"
	"thawline/forecast"
)

// Verdict is a bush's next day in a word.
type Verdict string

// The verdicts, from what matters most.
const (
	BigRun    Verdict = "big"
	Runs      Verdict = "runs"
	MayRun    Verdict = "may"
	NoRun     Verdict = "no"
	SeasonEnd Verdict = "over"
	Unknown   Verdict = "none" // without an outlook
)

// Verdicts are all of them, in that order.
var Verdicts = []Verdict{BigRun, Runs, MayRun, NoRun, SeasonEnd, Unknown}

// Summary is what the office shows of a bush.
type Summary struct {
	Verdict  Verdict
	Chance   float64 // that sap runs on the next day
	IssuedAt time.Time
	Weather  time.Time // when its weather was issued
	OverAt   time.Time // when the first group is likely to run over if nobody goes; zero where none is
	Open     bool      // in season, so that its people get messages
}

// summaries keep what was read of outlooks, by what changes with them.
type summaries struct {
	mu      sync.Mutex
	kept    map[string]summarised
	reading singleflight.Group
}

type summarised struct {
	Summary
	made string
	date string // for which day
}

// glimpse is as much of an outlook as a summary needs.
type glimpse struct {
	IssuedAt time.Time       `json:"issued_at"`
	Days     []glimpseDay    `json:"days"`
	Season   forecast.Season `json:"season"`
	Work     forecast.Work   `json:"work"`
	Source   glimpseSource   `json:"source"`
}

type glimpseSource struct {
	IssuedAt time.Time `json:"issued_at"`
}

type glimpseDay struct {
	Date           string         `json:"date"`
	RunProbability float64        `json:"run_probability"`
	Class          forecast.Class `json:"class"`
}

// firstLook is how long whoever asks waits for outlooks that were not read yet: the rest
// is read meanwhile.
const firstLook = 60 * time.Millisecond

// Summaries are those of all sites, from whichever daemon, and how many outlooks are
// still being read.
func (d *Daemon) Summaries(ctx context.Context, now time.Time) (out map[string]Summary, unread int, err error) {
	made, err := d.Archive.OutlooksMadeAt(ctx)
	if err != nil {
		return nil, 0, err
	}
	s := &d.summaries
	out = map[string]Summary{}
	var todo []string
	dates := map[string]string{} // by the zone's name: each site has read its own
	s.mu.Lock()
	for _, site := range d.Sites() {
		date := dates[site.Zone.String()]
		if date == "" {
			date = now.In(site.Zone).AddDate(0, 0, 1).Format(time.DateOnly)
			dates[site.Zone.String()] = date
		}
		have, known := s.kept[site.ID]
		at, is := made[site.ID]
		switch {
		case !is:
			out[site.ID] = Summary{Verdict: Unknown}
		case known && have.made == at && have.date == date:
			out[site.ID] = have.Summary
		default:
			out[site.ID] = have.Summary // of before, until the newer one is read
			if !known {
				out[site.ID] = Summary{Verdict: Unknown}
			}
			todo = append(todo, site.ID)
		}
	}
	s.mu.Unlock()
	if len(todo) == 0 {
		return out, 0, nil
	}
	done := s.reading.DoChan("", func() (any, error) {
		d.readSummaries(context.WithoutCancel(ctx), todo, made, now)
		return nil, nil
	})
	select {
	case <-done:
	case <-time.After(firstLook):
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, id := range todo {
		if have, known := s.kept[id]; known && have.made == made[id] {
			out[id] = have.Summary
		} else {
			unread++
		}
	}
	return out, unread, nil
}

// readSummaries reads outlooks one after the other.
func (d *Daemon) readSummaries(ctx context.Context, sites []string, made map[string]string, now time.Time) {
	d.mu.Lock()
	thresholds := d.settings.Thresholds
	d.mu.Unlock()
	for _, id := range sites {
		var g glimpse
		found, err := d.Archive.Outlook(ctx, id, time.Time{}, &g)
		zone := d.zoneOf(id)
		if err != nil || zone == nil {
			continue
		}
		one := summarised{made: made[id], date: now.In(zone).AddDate(0, 0, 1).Format(time.DateOnly)}
		one.Summary = g.summary(one.date)
		one.OverAt, one.Open = alerts.Watched(&g.Work, &g.Season, g.IssuedAt.In(zone), thresholds)
		if !found {
			one.Verdict = Unknown
		}
		d.summaries.mu.Lock()
		if d.summaries.kept == nil {
			d.summaries.kept = map[string]summarised{}
		}
		d.summaries.kept[id] = one
		d.summaries.mu.Unlock()
	}
}

// summary is what an outlook says of a date.
func (g *glimpse) summary(date string) Summary {
	out := Summary{Verdict: Unknown, IssuedAt: g.IssuedAt, Weather: g.Source.IssuedAt}
	if g.Season.Closed != nil {
		out.Verdict = SeasonEnd
		return out
	}
	for _, day := range g.Days {
		if day.Date != date {
			continue
		}
		out.Chance = day.RunProbability
		out.Verdict = NoRun
		switch forecast.VerdictOf(day.RunProbability) {
		case forecast.WillRun, forecast.Likely:
			if out.Verdict = Runs; day.Class == forecast.StrongRun {
				out.Verdict = BigRun
			}
		case forecast.Maybe:
			out.Verdict = MayRun
		}
	}
	return out
}

// Quiet is somebody whom messages do not reach, and why.
type Quiet struct {
	Person, Name string
	Why          string // no_way, paused or stopped
}

// QuietPeople are those whom messages do not reach at a moment.
func (d *Daemon) QuietPeople(ctx context.Context, now time.Time) ([]Quiet, error) {
	silent, err := d.Ledger.Silent(ctx, now)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []Quiet
	for i := range d.settings.People {
		p := &d.settings.People[i]
		pauses, quiet := silent[p.ID]
		var why string
		switch {
		case !p.Reachable():
			why = "no_way"
		case quiet && !pauses:
			why = "stopped"
		case quiet || now.Before(p.PausedUntil):
			why = "paused"
		default:
			continue
		}
		out = append(out, Quiet{p.ID, p.Name, why})
	}
	return out, nil
}
