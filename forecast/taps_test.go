package forecast

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// twoGroups is a bush of a north and a south, visited for a week, in frost and thaw.
func twoGroups(t testing.TB, events ...records.TapEvent) Inputs {
	site := bush(t)
	site.Groups = []Group{{ID: "north", Name: "North side", Taps: 50, Method: "pail", ContainerL: 7.5},
		{ID: "south", Taps: 70, Method: "pail", ContainerL: 7.5}}
	in := Inputs{Site: site, Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1, TapEvents: events}
	for day := 8; day >= 2; day -= 2 {
		in.Visits = append(in.Visits, visitOf("north", day, 90), visitOf("south", day, 150))
	}
	return in
}

// visitOf is a visit so many days before now.
func visitOf(group string, days int, litres float64) records.Visit {
	return records.Visit{Group: group, CollectedAt: march.AddDate(0, 0, -days), VolumeL: litres, BrixPct: 2}
}

// tapsOf is what was done to taps some hours before now.
func tapsOf(group string, kind records.TapKind, hours int) records.TapEvent {
	return records.TapEvent{Group: group, Kind: kind, On: march.Add(-time.Duration(hours) * time.Hour)}
}

// bare is a document without the list of groups and what the work says of the pulled.
func bare(t *testing.T, o Outlook) string {
	t.Helper()
	o.Bush.Groups = nil
	o.Work.Groups = slices.DeleteFunc(slices.Clone(o.Work.Groups), func(g GroupWork) bool { return g.Pulled })
	data, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// A group whose taps are pulled is in nothing but the lists of groups, which say so, and
// what hangs at the others is the same to the last digit.
func TestPulledGroupIsOutAndOthersAreAsBefore(t *testing.T) {
	before, after := mustMake(t, twoGroups(t)), mustMake(t, twoGroups(t, tapsOf("north", records.Pulled, 1)))
	if text := bare(t, after); strings.Contains(text, "north") || strings.Contains(text, "North") {
		t.Errorf("the outlook speaks of the north: %s", text)
	}
	if !strings.Contains(bare(t, before), "north") || before.Bush.Groups[0].Pulled || !after.Bush.Groups[0].Pulled ||
		after.Bush.Groups[1].Pulled {
		t.Errorf("%+v %+v", before.Bush.Groups, after.Bush.Groups)
	}
	if after.Bush.TapsIn() != 70 || after.Bush.Taps != 120 || after.Season.Closed != nil || after.Season.Stage == season.Closed {
		t.Errorf("%d of %d taps, %+v", after.Bush.TapsIn(), after.Bush.Taps, after.Season)
	}
	if a, b := EveningOf(&after).TapsIn, EveningOf(&before).TapsIn; math.Abs(a-70.0/120) > 1e-9 || b != 0 {
		t.Errorf("an evening speaks of %g and %g of the taps", a, b)
	}
	of := func(o *Outlook) any {
		var out []any
		g := o.Work.Group("south")
		out = append(out, g.HeldL, g.IceL, g.CapacityL, g.SinceVisit, g.AloneOverAt, g.AloneProbability, g.AloneLossL, g.KeepsUntil)
		for _, y := range o.Yields {
			if y.Group == "south" {
				out = append(out, y)
			}
		}
		return out
	}
	if d := cmp.Diff(of(&before), of(&after)); d != "" {
		t.Errorf("the south changed when the north was pulled:\n%s", d)
	}
	pulled := GroupWork{Group: "north", Pulled: true, Decision: NoWork, Who: []string{}}
	if d := cmp.Diff(pulled, after.Work.Groups[0]); d != "" || len(after.Work.Groups) != 2 || after.Work.In() != 1 ||
		before.Work.In() != 2 {
		t.Errorf("the work says of the north:\n%s", d)
	}
	if len(before.Work.Rounds) == 0 || len(after.Work.Rounds) == 0 || after.Work.Without >= before.Work.Without ||
		len(after.Work.Due())+len(after.Work.ToTipOut()) > 1 {
		t.Errorf("%d rounds to both, %d to the south; %.0f and %.0f L lost without", len(before.Work.Rounds), len(after.Work.Rounds),
			before.Work.Without, after.Work.Without)
	}
	for i := range after.Days {
		if a, b := after.Days[i].VolumeL.P50, before.Days[i].VolumeL.P50; i < 8 && (a <= 0 || a > 0.75*b || a < 0.4*b) {
			t.Errorf("%s: %.1f L of the south, %.1f of both", after.Days[i].Date, a, b)
		}
		if after.Days[i].TemperatureC != before.Days[i].TemperatureC {
			t.Errorf("%s: other weather", after.Days[i].Date)
		}
	}
}

// What ran before the pull did run; from its day on nothing does.
func TestPulledCountsFromItsDay(t *testing.T) {
	flow := func(o *Outlook) (early, late float64) {
		for i := range o.Hours.FlowLH.P50 {
			if o.Hours.Start.Add(time.Duration(i) * time.Hour).Before(march.Add(-36 * time.Hour)) {
				early += o.Hours.FlowLH.P50[i]
			} else {
				late += o.Hours.FlowLH.P50[i]
			}
		}
		return early, late
	}
	in := twoGroups(t)
	in.Site.Groups, in.Visits = in.Site.Groups[:1], in.Visits[:0]
	all := mustMake(t, in)
	in.TapEvents = []records.TapEvent{tapsOf("north", records.Pulled, 36)}
	pulled := mustMake(t, in)
	early, late := flow(&all)
	if e, l := flow(&pulled); e != early || l != 0 || early == 0 || late == 0 {
		t.Errorf("%.1f L before the pull and %.1f after it, of %.1f and %.1f", e, l, early, late)
	}
	in.TapEvents = []records.TapEvent{{Group: "north", Kind: records.Pulled, On: march.Add(time.Hour)},
		{Group: "north", Kind: records.Pulled, On: march.AddDate(-1, 0, 0)},
		{Site: "elsewhere", Group: "north", Kind: records.Pulled, On: march.Add(-time.Hour)}}
	if o := mustMake(t, in); cmp.Diff(all, o) != "" {
		t.Error("what is to come, of another season or of another site counts")
	}
}

// Once all taps are pulled the season is closed, with figures; nothing runs, nothing is
// planned, and the weather is still there.
func TestAllPulledClosesTheSeason(t *testing.T) {
	in := twoGroups(t, tapsOf("north", records.Pulled, 30), tapsOf("south", records.Pulled, 2))
	o := mustMake(t, in)
	c := o.Season.Closed
	if o.Season.Stage != season.Closed || c == nil || c.On != "2026-03-10" || c.Visits != 8 || c.SapL != 960 || c.SyrupL == nil ||
		*c.SyrupL < 20 || *c.SyrupL > 28 {
		t.Fatalf("%+v %+v", o.Season, c)
	}
	for _, d := range o.Days {
		if d.RunProbability != 0 || d.FlowScore != 0 || d.Class != Still || d.Window != nil || d.VolumeL != (Range{}) || d.Hours == 0 ||
			d.TemperatureC.Min >= d.TemperatureC.Max {
			t.Errorf("%+v", d)
		}
	}
	w := &o.Work
	if len(w.Rounds)+len(w.ShortOf)+len(w.Due())+len(w.ToTipOut())+w.In()+len(o.Teaching)+len(o.Yields) > 0 || w.Without != 0 ||
		w.Until.IsZero() || len(w.Groups) != 2 || !w.Groups[1].Pulled || len(o.Days) < 9 {
		t.Errorf("%+v", w)
	}
	for _, b := range o.Boil {
		if b.Batch != nil || b.GatheredL != 0 || b.SapL != 0 {
			t.Errorf("%+v", b)
		}
	}
	for i := range in.Visits {
		if in.Visits[i].Group == "south" {
			in.Visits[i].BrixPct = math.NaN()
		}
	}
	if o := mustMake(t, in); o.Season.Closed.SyrupL != nil {
		t.Errorf("syrup of sap that was mostly not measured: %v", *o.Season.Closed.SyrupL)
	}
	in.TapEvents = append(in.TapEvents, tapsOf("south", records.Tapped, 1))
	again := mustMake(t, in)
	if again.Season.Closed != nil || again.Season.Stage == season.Closed || again.Bush.Groups[1].Pulled || again.Days[1].VolumeL.P50 == 0 {
		t.Errorf("tapped again: %+v", again.Season)
	}
	if f := again.Work.Group("south"); again.Work.In() != 1 || f.SinceVisit == nil || !f.SinceVisit.Equal(march.Add(-time.Hour)) ||
		f.HeldL.P50 > 25 {
		t.Errorf("pails that hang since an hour: %+v", f)
	}
}

// Of the days that settings and records name, the later one counts; without either the
// first visit says that a group is tapped.
func TestTappedByRecords(t *testing.T) {
	for name, c := range map[string]struct {
		settings int // days before now, 0 for none
		events   []records.TapEvent
		tapped   time.Time
		pulled   time.Time
		before   int // stretches
	}{
		"settings alone":  {settings: 12, tapped: march.AddDate(0, 0, -12)},
		"the first visit": {tapped: march.AddDate(0, 0, -9)},
		"records alone": {events: []records.TapEvent{tapsOf("north", records.Tapped, 240)},
			tapped: march.AddDate(0, 0, -10)},
		"records later": {settings: 12, events: []records.TapEvent{tapsOf("north", records.Tapped, 240)},
			tapped: march.AddDate(0, 0, -10)},
		"settings later": {settings: 10, events: []records.TapEvent{tapsOf("north", records.Tapped, 288)},
			tapped: march.AddDate(0, 0, -10)},
		"settings of last season": {settings: 370, events: []records.TapEvent{tapsOf("north", records.Tapped, 240)},
			tapped: march.AddDate(0, 0, -10)},
		"made anew after visits": {settings: 12, events: []records.TapEvent{tapsOf("north", records.Tapped, 72)},
			tapped: march.AddDate(0, 0, -3), before: 1},
		"pulled": {settings: 12,
			events: []records.TapEvent{tapsOf("north", records.Pulled, 24), tapsOf("north", records.Pulled, 12)},
			tapped: march.AddDate(0, 0, -12), pulled: march.AddDate(0, 0, -1)},
		"pulled, tapped by settings since": {settings: 1, events: []records.TapEvent{tapsOf("north", records.Pulled, 72)},
			tapped: march.AddDate(0, 0, -1), before: 1},
		"pulled and tapped again": {settings: 12,
			events: []records.TapEvent{tapsOf("north", records.Tapped, 24), tapsOf("north", records.Pulled, 72)},
			tapped: march.AddDate(0, 0, -1), before: 1},
	} {
		in := twoGroups(t, c.events...)
		if c.settings > 0 {
			in.Site.Groups[0].Tapped = march.AddDate(0, 0, -c.settings)
		}
		datedTaps(&in)
		if g := &in.Site.Groups[0]; !g.Tapped.Equal(c.tapped) || !g.Pulled.Equal(c.pulled) || len(g.Before) != c.before {
			t.Errorf("%s: tapped %s, pulled %s, %v before", name, g.Tapped, g.Pulled, g.Before)
		}
	}
}

// Visits while the taps are out teach nothing, neither now nor later, and what is caught
// after they are put in again is held against the flow from then on.
func TestAPullIsNoLesson(t *testing.T) {
	beliefs := func(visits []records.Visit, events ...records.TapEvent) Taught {
		in := twoGroups(t)
		b := waves(1, 7, 60, 60)
		taught, err := Teach(&in.Site, []notebook.Season{{Weather: b.Course, Visits: append(in.Visits, visits...), Taps: events,
			To: time.Date(2026, 7, 1, 0, 0, 0, 0, in.Site.Zone)}})
		if err != nil {
			t.Fatal(err)
		}
		return taught
	}
	pull, empty := tapsOf("north", records.Pulled, 24),
		[]records.Visit{visitOf("north", 0, 0), visitOf("north", -3, 0), visitOf("north", -5, 0)}
	want := beliefs(nil, pull)
	if d := cmp.Diff(want.Know, beliefs(empty, pull).Know); d != "" {
		t.Errorf("empty pails after the pull taught:\n%s", d)
	}
	if cmp.Equal(want.Know, beliefs(empty).Know) {
		t.Error("empty pails without a pull taught nothing: the test sees nothing")
	}

	site := twoGroups(t).Site
	b := waves(1, 7, 60, 60)
	past, err := LookBack(PastInputs{Site: site, Weather: b.Course,
		Visits: append(twoGroups(t).Visits, visitOf("north", -1, 5), visitOf("north", -6, 80)), From: march.AddDate(0, 0, -60),
		To: march.AddDate(0, 0, 20),
		Taps: []records.TapEvent{pull, tapsOf("north", records.Tapped, -96), tapsOf("north", records.Pulled, -240),
			tapsOf("south", records.Pulled, -264)}})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range past.Visits {
		out := v.At.Equal(march.AddDate(0, 0, 1))
		if v.Pulled != out || (v.Why == "") == out {
			t.Errorf("%+v", v)
		}
		if v.At.Equal(march.AddDate(0, 0, 6)) { // two days of flow since it was tapped again
			if two := past.Visits[len(past.Visits)-3].ExpectedL; v.ExpectedL.P50 <= 0 || v.ExpectedL.P50 > 2*two.P50 {
				t.Errorf("expected %+v after two days, as %+v", v.ExpectedL, two)
			}
		}
	}
	for _, d := range past.Days {
		if closed := d.Date >= "2026-03-21"; closed && (d.Known || d.Ran || d.SapL.P50 > 0) || !closed && d.Date > "2026-03-02" &&
			(!d.Known || !d.Ran) {
			t.Errorf("%+v", d)
		}
	}
}

// A season of which only the sum is known teaches nothing where the taps were pulled
// before one season in ten is over.
func TestAPullCensorsTheSum(t *testing.T) {
	site := twoGroups(t).Site // its season ends on 1 April in one year of ten
	teach := func(pulled time.Time) Taught {
		s := notebook.Season{To: time.Date(2026, 7, 1, 0, 0, 0, 0, site.Zone)}
		for day := range 8 {
			s.Visits = append(s.Visits, visitOf("north", 20-4*day, 200))
		}
		if !pulled.IsZero() {
			s.Taps = []records.TapEvent{{Group: "north", Kind: records.Pulled, On: pulled}}
		}
		s.Weather = weather.NewSeries(march, 0)
		taught, err := Teach(&site, []notebook.Season{s})
		if err != nil {
			t.Fatal(err)
		}
		return taught
	}
	for pulled, left := range map[time.Time]int{{}: 0, march.AddDate(0, 0, 9): 1, march.AddDate(0, 0, 40): 0} {
		if got := teach(pulled); got.LeftOut != left || got.BySums != 1-left {
			t.Errorf("pulled on %s: %+v", pulled.Format(time.DateOnly), got)
		}
	}
}
