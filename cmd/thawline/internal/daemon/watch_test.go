package daemon

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/weather"
)

// watched is the oracle with official warnings.
type watched struct {
	Asker
	asked int
	watch forecast.Watch
}

func (w *watched) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	a, err := w.Asker.Ask(ctx, site, now)
	a.Watch = w.watch
	return a, err
}

func (w *watched) Warnings(context.Context, *forecast.Site, time.Time) forecast.Watch {
	w.asked++
	return w.watch
}

// A storm that is warned of between two looks is told at once, and once for all messages
// about it; the plan heeds it, and forgets it when it is called off.
func TestStormBetweenTwoLooks(t *testing.T) {
	site, truth := kettle(t)
	now := time.Date(2026, 3, 20, 22, 31, 0, 0, time.UTC) // after the evening
	none := forecast.Watch{Warnings: weather.Warnings{State: weather.WarningsKnown, KnownAt: now}}
	asker := &watched{Asker: &oracle{truth: truth, place: site.Place}, watch: none}
	s := settings(site, asker, nil)
	s.Services = []string{"nws"}
	s.RefreshEvery = 24 * time.Hour
	d := started(t, filepath.Join(t.TempDir(), "watch.db"), s, now)
	step := func(after time.Duration) {
		now = now.Add(after)
		d.Step(t.Context(), now)
	}
	told := func(thread string) bool {
		t.Helper()
		known, err := d.Ledger.Known(t.Context(), "kettle", string(alerts.OfficialWarning)+":"+thread)
		if err != nil {
			t.Fatal(err)
		}
		return known
	}
	step(0)
	first := d.Outlook(t.Context(), "kettle")
	if len(first.Work.Rounds) == 0 || first.Work.Rounds[0].Start.After(now.Add(24*time.Hour)) {
		t.Fatal("no round within a day: the demonstration has changed")
	}
	asked := asker.asked
	step(35 * time.Minute)
	if asker.asked == asked || told("urn:1") {
		t.Fatalf("asked %d times after half an hour, told %v", asker.asked-asked, told("urn:1"))
	}
	round := first.Work.Rounds[0]
	storm := weather.Warning{ID: "urn:1", Thread: "urn:1", Source: "nws", Issuer: weather.Quoted{"en": "NWS"},
		Event: weather.Quoted{"en": "Ice Storm Warning"}, Severity: weather.Severe, From: round.Start.Add(-time.Hour),
		To: round.End.Add(12 * time.Hour)}
	asker.watch.List = []weather.Warning{storm}
	step(31 * time.Minute)
	o := d.Outlook(t.Context(), "kettle")
	if len(o.Warnings.List) != 1 || len(o.Work.Dangers) == 0 {
		t.Fatalf("%d warnings, %d dangers after the storm was warned of", len(o.Warnings.List), len(o.Work.Dangers))
	}
	for i := range o.Work.Rounds {
		if r := &o.Work.Rounds[i]; !r.Pinned && o.Work.DangerOf(r) != nil {
			t.Errorf("a round at %s, in the storm", r.Start)
		}
	}
	if !told("urn:1") {
		t.Fatal("the storm is not told")
	}
	update := storm
	update.ID, update.To = "urn:2", update.To.Add(time.Hour)
	asker.watch.List = []weather.Warning{update}
	step(31 * time.Minute)
	if told("urn:2") || d.Outlook(t.Context(), "kettle").Warnings.List[0].ID != "urn:2" {
		t.Error("an update is told again, or not taken in")
	}
	asker.watch.List = nil
	step(31 * time.Minute)
	if o := d.Outlook(t.Context(), "kettle"); len(o.Work.Dangers) != 0 {
		t.Errorf("%d dangers after it was called off", len(o.Work.Dangers))
	}
	asker.watch = forecast.Watch{Warnings: weather.Warnings{State: weather.WarningsUnknown, KnownAt: now},
		Faults: []forecast.PassedOver{{Service: "nws", Kind: "busy"}}}
	step(31 * time.Minute)
	if o := d.Outlook(t.Context(), "kettle"); o.Warnings.State != weather.WarningsUnknown || o.Warnings.KnownAt == nil {
		t.Errorf("%s while nobody answers", o.Warnings.State)
	}
}

// Out of season, and while nobody goes out, nobody is asked between two looks.
func TestNobodyAsksForWarningsInSummer(t *testing.T) {
	now := time.Date(2026, 3, 20, 22, 0, 0, 0, time.UTC)
	soon := forecast.Outlook{IssuedAt: now,
		Work: forecast.Work{Rounds: []forecast.CrewRound{{Start: now.Add(10 * time.Hour), End: now.Add(11 * time.Hour)}}}}
	soon.Season.Tapped = true
	if !outSoon(&soon, now) {
		t.Error("a round within a day")
	}
	quiet, over, untapped := soon, soon, soon
	quiet.Work.Rounds = nil
	over.Season.Stage = "over"
	untapped.Season.Tapped = false
	for name, o := range map[string]*forecast.Outlook{"nobody goes": &quiet, "over": &over, "untapped": &untapped} {
		if outSoon(o, now) {
			t.Errorf("%s: warnings are asked for", name)
		}
	}
}
