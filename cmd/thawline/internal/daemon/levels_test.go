package daemon

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// What a gauge says over a day becomes one record for each group by its taps,
// once; a record by hand comes first, and what was taken back stays so.
func TestGaugesBecomeRecords(t *testing.T) {
	ctx := context.Background()
	zone := newYork(t)
	now := time.Date(2026, 3, 8, 0, 5, 0, 0, zone)
	s := evenSettings("")
	site := s.Sites[0].ID
	s.Tanks = []Tank{{Site: site, ID: "big", VolumeL: 600, Groups: []Share{{"south", 0.75}, {"brook", 0.25}}}}
	s.Sites[0].Groups = []forecast.Group{{ID: "south", Taps: 30, TankID: "big", TankL: 450},
		{ID: "brook", Taps: 10, TankID: "big", TankL: 150}}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	// The clocks are put on in that night; the tank fills by 20 L an hour from 10
	// to 18 o'clock and is drawn off at noon.
	stands := 100.0
	for at := now; at.Before(now.Add(23 * time.Hour)); at = at.Add(30 * time.Minute) {
		if h := at.Hour(); h >= 10 && h < 18 {
			stands += 10
		}
		if at.Hour() == 12 && at.Minute() < 30 {
			stands = 0
		}
		for range 2 { // at least once may be twice
			if err := d.gaugeSaid(ctx, channel.Heard{Site: site, Tank: "big",
				Body: fmt.Appendf(nil, `{"ts":%d,"value":%g,"unit":"L"}`, at.Unix(), stands)}, at); err != nil {
				t.Fatal(err)
			}
		}
	}
	volumes := func() string {
		stored, err := d.Archive.Visits(ctx, site, now.AddDate(0, 0, -1), zone)
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, v := range stored {
			out = append(out, fmt.Sprintf("%s %g %s", v.Group, v.VolumeL, v.CollectedAt.Format("2 15:04")))
		}
		return strings.Join(out, ", ")
	}
	d.Step(ctx, time.Date(2026, 3, 9, 0, 41, 0, 0, zone))
	want := "south 112.5 8 23:35, brook 37.5 8 23:35"
	got := volumes()
	if got != want && got != "brook 37.5 8 23:35, south 112.5 8 23:35" {
		t.Fatalf("%s, want %s", got, want)
	}
	stored, err := d.Archive.Visits(ctx, site, now, zone)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range stored {
		if err := d.Archive.Remove(ctx, v.ID, archive.Any, "robin", now); err != nil {
			t.Fatal(err)
		}
	}
	d.Step(ctx, time.Date(2026, 3, 10, 0, 41, 0, 0, zone))
	if got := volumes(); got != "" {
		t.Errorf("taken back, yet there: %s", got)
	}
}

func TestReadingsThatAreNone(t *testing.T) {
	now := time.Date(2026, 3, 9, 18, 0, 0, 0, time.UTC)
	for body, want := range map[string]string{
		`412`:                             "not a reading",
		`{"value":412}`:                   "unit",
		`{"unit":"L"}`:                    "the value is missing",
		`{"value":412,"unit":"gal"}`:      "gal",
		`{"value":912,"unit":"L"}`:        "can't stand in a tank of 600 L",
		`{"value":-2,"unit":"%"}`:         "can't stand",
		`{"value":4,"unit":"L","ts":"x"}`: "no time",
		`{"value":4,"unit":"L","ts":"2026-03-01T00:00:00Z"}`: "too old",
		`{"value":4,"unit":"L","ts":1799999999}`:             "not yet",
		strings.Repeat("[", 5000):                            "no reading",
	} {
		if l, err := readLevel([]byte(body), 600, now); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.60s: %v %v", body, l, err)
		}
	}
	for body, litres := range map[string]float64{
		`{"value":50,"unit":"%"}`: 300,
		`{"value":100,"unit":"US gal","ts":"2026-03-09T12:00:00-05:00"}`: 378.54,
		`{"value":0.4,"unit":"m3","ts":1773075600.5}`:                    400,
	} {
		if l, err := readLevel([]byte(body), 600, now); err != nil || math.Abs(l.Litres-litres) > 0.01 {
			t.Errorf("%s: %v %v", body, l, err)
		}
	}
}

// FuzzReadLevel: no document of a gauge brings down the daemon or gives a level
// that can't be.
func FuzzReadLevel(f *testing.F) {
	f.Add([]byte(`{"ts":"2026-03-09T18:00:00Z","value":412,"unit":"L"}`))
	f.Add([]byte(`{"ts":1e300,"value":1e308,"unit":"%"}`))
	now := time.Date(2026, 3, 9, 18, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, body []byte) {
		l, err := readLevel(body, 600, now)
		if err == nil && (!(l.Litres >= 0 && l.Litres <= 630) || l.At.After(now.Add(newestReading))) {
			t.Errorf("%q: %v", body, l)
		}
	})
}

// After two seasons the ledger lets go of what was told, but not of what waits;
// the texts of this season stay explainable.
func TestHousekeepingForgets(t *testing.T) {
	d, _, _, now := evening(t)
	ctx := context.Background()
	site := &d.settings.Sites[0]
	count := func(table string) (n int) {
		a := d.Archive
		if err := a.DB().QueryRowContext(ctx, "SELECT COUNT(*) FROM "+table).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := count("decision")
	if err := d.housekeeping(ctx, site, *now, now.AddDate(1, 11, 0)); err != nil || count("decision") != before || before == 0 {
		t.Fatalf("%v, %d of %d", err, count("decision"), before)
	}
	if err := d.housekeeping(ctx, site, *now, now.AddDate(2, 1, 0)); err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"decision", "delivery", "attempt", "calendar_entry"} {
		if n := count(table); n != 0 {
			t.Errorf("%d rows of %s stay", n, table)
		}
	}
}

// A flow gauge counts on: what it counted over a day becomes records by taps, also where it
// began again at zero, and comes before the tank's level.
func TestFlowGaugesBecomeRecords(t *testing.T) {
	ctx := t.Context()
	zone := newYork(t)
	now := time.Date(2026, 3, 9, 0, 5, 0, 0, zone)
	s := evenSettings("")
	site := s.Sites[0].ID
	s.Tanks = []Tank{{Site: site, ID: "big", VolumeL: 600, Groups: []Share{{"south", 0.75}, {"brook", 0.25}}}}
	s.Sites[0].Groups = []forecast.Group{{ID: "south", Taps: 30, TankID: "big", TankL: 450},
		{ID: "brook", Taps: 10, TankID: "big", TankL: 150}}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	for hour, counted := range []float64{12000, 12000, 12040, 12080, 0, 80} { // 40 + 40 + 80: new batteries
		at := now.Add(time.Duration(hour*4) * time.Hour)
		for _, h := range []channel.Heard{{Site: site, Tank: "big", Flow: true,
			Body: fmt.Appendf(nil, `{"ts":%d,"value":%g,"unit":"L"}`, at.Unix(), counted)},
			{Site: site, Tank: "big", Body: fmt.Appendf(nil, `{"ts":%d,"value":%d,"unit":"L"}`, at.Unix(), 100)}} {
			if err := d.gaugeSaid(ctx, h, at); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := d.gaugeSaid(ctx, channel.Heard{Site: site, Tank: "big", Flow: true, Body: []byte(`{"value":50,"unit":"%"}`)},
		now); err == nil {
		t.Error("a share of nothing is taken")
	}
	d.Step(ctx, time.Date(2026, 3, 10, 0, 41, 0, 0, zone))
	stored, err := d.Archive.Visits(ctx, site, now.AddDate(0, 0, -1), zone)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{}
	for _, v := range stored {
		got[v.Group] += v.VolumeL
		if !strings.HasPrefix(v.Note, "flow gauge of tank big") {
			t.Errorf("note %q", v.Note)
		}
	}
	if len(stored) != 2 || got["south"] != 120 || got["brook"] != 40 {
		t.Errorf("%v of %d records", got, len(stored))
	}
}

// What a home automation is told of work: the next round, what runs over first, the age of
// the oldest sap that may still be boiled, the end; nulls where nothing is known.
func TestFiguresOfWork(t *testing.T) {
	here := time.Date(2026, 3, 9, 20, 0, 0, 0, newYork(t))
	if f := workOf(&forecast.Outlook{}, here); f != (workFigures{}) {
		t.Errorf("of nothing: %+v", f)
	}
	o := &forecast.Outlook{}
	early, late := here.Add(10*time.Hour), here.Add(30*time.Hour)
	o.Work.Rounds = []forecast.CrewRound{{Start: here.Add(-3 * time.Hour), End: here.Add(-time.Hour)},
		{Start: early, End: early.Add(time.Hour)}}
	o.Work.Groups = []forecast.GroupWork{{AloneOverAt: &late, AloneProbability: 0.9}, {AloneOverAt: &early, AloneProbability: 0.4},
		{Pulled: true, AloneProbability: 1}}
	o.Stock.Sap = []forecast.SapBatch{{RanOn: "2026-03-01", Spoilt: true}, {RanOn: "2026-03-08"}}
	o.Season.End.P50 = "2026-04-11"
	f := workOf(o, here)
	if !f.Gather || !f.NextRoundAt.Equal(early) || !f.OverflowAt.Equal(early) || *f.OverflowChancePct != 90 || *f.OldestSapH != 32 ||
		*f.SeasonEnd != "2026-04-11" {
		t.Errorf("%+v", f)
	}
	o.Work.Rounds[1].Start = late
	if f := workOf(o, here); f.Gather {
		t.Error("a round after tomorrow's evening")
	}
}

// cleared is a broker that notes what is taken away.
type cleared chan string

func (c cleared) Clear(_ context.Context, site string) error { c <- site; return nil }

// What a broker keeps is cleared of bushes that are in no settings, and of no others: one
// whose file can't be read just now may come back.
func TestOnlyWhatIsGoneIsCleared(t *testing.T) {
	d := started(t, filepath.Join(t.TempDir(), "d.db"), evenSettings(""), eveningIn2026)
	c := make(cleared, 1)
	d.clearGone(t.Context(), "mqtt", c, "bush")
	d.settings.LeftOut = []string{"gone.yaml: line 3"}
	d.clearGone(t.Context(), "mqtt", c, "gone")
	d.settings.LeftOut = nil
	d.clearGone(t.Context(), "mqtt", c, "older")
	if got := <-c; got != "older" || len(c) > 0 {
		t.Errorf("%s was cleared", got)
	}
}
