package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// recorder is a channel that keeps what it is given, or fails as it is told.
type recorder struct {
	mu   sync.Mutex
	got  []channel.Message
	fail func(m channel.Message) error
}

func (r *recorder) Send(_ context.Context, m channel.Message) (string, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fail != nil {
		if err := r.fail(m); err != nil {
			return "", err
		}
	}
	r.got = append(r.got, m)
	return "kept", nil
}

// oracle forecasts a truth with the errors that forecasts have.
type oracle struct {
	truth weather.Series
	place weather.Place
	dead  func(now time.Time) bool
	last  *forecast.Inputs
}

func (o *oracle) Ask(_ context.Context, _ *forecast.Site, now time.Time) (forecast.Inputs, error) {
	if o.dead != nil && o.dead(now) {
		if o.last == nil || now.Sub(o.last.Bulletin.IssuedAt) > 10*24*time.Hour {
			return forecast.Inputs{}, errors.New("no service answered and nothing is kept")
		}
		kept := *o.last
		kept.Kept = true
		return kept, nil
	}
	split := o.truth.Index(now) + 1
	ahead := o.truth.Slice(split, split+168)
	ahead.FillGaps()
	ahead.Complete(o.place)
	past := o.truth.Slice(max(split-14*24, 0), split)
	erring := weather.ErrorMembers(&ahead, o.place, now, 2, uint64(now.Unix()))[1]
	a := forecast.Inputs{Bulletin: weather.Bulletin{Source: "oracle", IssuedAt: now, FetchedAt: now, Course: past.Overlay(&erring),
		ElevationM: math.NaN()}}
	o.last = &a
	return a, nil
}

func newYork(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// hill is the bush of the weather of 2015 (CC0, Baumer et al., R package
// macleish).
func hill(t testing.TB) (forecast.Site, weather.Series) {
	t.Helper()
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	s, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	site := forecast.Site{ID: "hill", Name: "Hill", Zone: newYork(t), TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
		Place: weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251},
		Groups: []forecast.Group{{ID: "pails", Name: "pails", Taps: 50, Method: volume.Pail, ContainerL: 15,
			Tapped: time.Date(2015, 3, 1, 8, 0, 0, 0, newYork(t))}}}
	return site, s
}

func started(t testing.TB, path string, s Settings, now time.Time) *Daemon {
	t.Helper()
	a, err := archive.Open(context.Background(), beside.Where(t, path))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()),
		Log:     slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError + 4})),
		Metrics: hooks.NewMetrics("test"), PlaceKey: func(s *forecast.Site) string { return s.ID }}
	if err := d.Use(s, now); err != nil {
		t.Fatal(err)
	}
	return d
}

func settings(site forecast.Site, asker Asker, channels map[string]channel.Channel) Settings {
	return Settings{Sites: []forecast.Site{site}, Channels: channels, Asker: asker, EveningAt: 18*time.Hour + 30*time.Minute,
		RefreshEvery: 6 * time.Hour, Thresholds: alerts.Usual,
		People: []channel.Person{{ID: "robin", Role: "keeper", Reader: message.Reader{Language: "en", Units: units.US},
			Ways: []channel.Way{{Channel: "text", To: "+18025550123"}}, Quiet: channel.Quiet{From: 21 * time.Hour, To: 6 * time.Hour}}}}
}

// through steps the daemon from one moment to another, minute by minute only
// where something is due.
func through(d *Daemon, from, to time.Time) {
	for now := from; now.Before(to); {
		d.Step(context.Background(), now)
		next := d.NextDue(now)
		if pending, err := d.Ledger.Due(context.Background(), now.Add(365*24*time.Hour), 1); err == nil && len(pending) > 0 &&
			pending[0].NextAt.Before(next) {
			next = pending[0].NextAt
		}
		if !next.After(now) {
			next = now.Add(time.Minute)
		}
		now = next
	}
}

// kettle is the bush and the invented season of the demonstration.
func kettle(t testing.TB) (forecast.Site, weather.Series) {
	t.Helper()
	data, err := testdata.Files.ReadFile("weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	site := forecast.Site{ID: "kettle", Name: "Kettle", Zone: newYork(t), TreeDiameterM: 0.33, Exposure: trunk.Exposed(trunk.Closed, 180),
		Place: weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420},
		Groups: []forecast.Group{{ID: "ridge", Name: "ridge", Taps: 60, Method: volume.Pail, ContainerL: 15,
			Tapped: time.Date(2026, 3, 1, 8, 0, 0, 0, newYork(t))}}}
	return site, s
}

// Whole seasons on a fast clock: 2015 on the hill, and the demonstration. Every
// run day is announced the evening before, none twice, and the number of
// messages can be borne. The guide prints some of them.
func TestSeasonOf2015(t *testing.T) {
	site, truth := hill(t)
	said := replaySeason(t, site, truth, time.Date(2015, 2, 20, 12, 0, 0, 0, time.UTC), 64, 0, 1) // a day of 0.59 L a tap
	if testing.Short() {
		return
	}
	guide, err := os.ReadFile("../../../../deploy/guide/measured.md")
	if err != nil {
		t.Fatal(err)
	}
	_, printed, _ := strings.Cut(string(guide), "From the replay of 2015")
	_, printed, _ = strings.Cut(printed, "```\n")
	printed, _, _ = strings.Cut(printed, "```")
	plain := func(text string) string { return strings.Join(strings.Fields(text), " ") }
	lines := strings.Split(strings.TrimSpace(printed), "\n")
	if len(lines) < 3 {
		t.Fatalf("the guide prints %q", printed)
	}
	for _, line := range lines {
		if !strings.Contains(plain(said), plain(line)) {
			t.Errorf("deploy/guide/measured.md prints what was not said: %s", line)
		}
	}
}

func TestSeasonOfTheDemonstration(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	site, truth := kettle(t)
	replaySeason(t, site, truth, time.Date(2026, 2, 24, 12, 0, 0, 0, time.UTC), 64, 1, 0)
}

// spring is a bush in the spring of a tap log.
type spring struct {
	site   forecast.Site
	truth  weather.Series
	missed int // run days that may go unannounced
}

// springsByDailyAir are those of the other tap logs, by daily lows and highs: the hill of
// 2013 and 2014 by Harvard Forest's air (HF001, Boose; 0.58 K warmer), Wisconsin in 2015 and
// 2020 by Madison's (GHCN-Daily, US public domain).
func springsByDailyAir(t *testing.T) map[string]spring {
	t.Helper()
	central, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	const forest, madison = "data/forest-station-2012-2014-daily.csv", "data/madison-daily-1990-2020.csv"
	all := map[string]spring{}
	for name, s := range map[string]struct {
		file    string
		warmerK float64
		tapped  time.Time
		missed  int
	}{
		"hill 2013":      {forest, 0.58, time.Date(2013, 2, 22, 8, 0, 0, 0, newYork(t)), 0},
		"hill 2014":      {forest, 0.58, time.Date(2014, 2, 19, 8, 0, 0, 0, newYork(t)), 0},
		"Wisconsin 2015": {madison, 0, time.Date(2015, 2, 28, 8, 0, 0, 0, central), 1},
		"Wisconsin 2020": {madison, 0, time.Date(2020, 2, 28, 8, 0, 0, 0, central), 1},
	} {
		site, _ := hill(t)
		if s.file == madison {
			site.Place, site.Zone = weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}, central
		}
		site.Groups[0].Tapped = s.tapped
		f := beside.Open(t, s.file)
		days, err := weather.ReadDailyCSV(f, f.Name())
		if err != nil {
			t.Fatal(err)
		}
		days.FillGaps()
		truth := days.Hourly(site.Place)
		truth = truth.Between(s.tapped.AddDate(0, -3, 0), s.tapped.AddDate(0, 3, 0))
		for i := range truth.Hours() {
			truth.Col(weather.TemperatureC)[i] += s.warmerK
		}
		all[name] = spring{site, truth, s.missed}
	}
	return all
}

// Of the 108 run days of these springs two are not announced, one in each of Wisconsin's:
// the evening before gave them 20 and 23 %, less than it takes, because the low was foretold
// about freezing, and it froze by a degree or two. A forecast that errs as forecasts do knows
// no better.
func TestSeasonsByDailyAir(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	for name, s := range springsByDailyAir(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			replaySeason(t, s.site, s.truth, s.site.Groups[0].Tapped.AddDate(0, 0, -8), 64, 1, s.missed)
		})
	}
}

func replaySeason(t *testing.T, site forecast.Site, truth weather.Series, begin time.Time, days, mayBeLate, mayBeMissed int) (said string) {
	t.Helper()
	if testing.Short() {
		days /= 3
	}
	box := &recorder{}
	asker := &oracle{truth: truth, place: site.Place}
	end := begin.AddDate(0, 0, days)
	s, ours := settings(site, asker, map[string]channel.Channel{"text": box}), &recorder{}
	inTongue(t, &s, ours)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, begin)
	through(d, begin, end)
	seasonInTongue(t, ours.got)

	// What ran in truth: the flow of the usual tap, at the prior's yield.
	whole := truth.Slice(0, truth.Hours())
	whole.FillGaps()
	whole.Complete(site.Place)
	tree := trunk.NewTree(site.TreeDiameterM, site.Exposure, site.Place)
	state := tree.Rest(-5)
	wood := make([]trunk.Hour, whole.Hours())
	tree.Run(&state, &whole, weather.Suns(&whole, site.Place), wood)
	flow := make([]float64, len(wood))
	from := whole.Index(site.Groups[0].Tapped)
	var tap sap.State
	sap.Usual.Run(&tap, wood[from:], 0, flow[from:])
	ran := map[string]float64{}
	for i, q := range flow {
		ran[whole.Time(i).In(site.Zone).Format(time.DateOnly)] += q * math.Exp(volume.Prior(volume.Pail).LogMean+0.18)
	}

	ended := "9999" // the end was told, and nobody recorded a visit after it
	evenings, quiet := map[string]int{}, map[string]bool{}
	var sugar time.Time // told last
	byDay := map[string]int{}
	afterAll := map[string]bool{} // a forecast that was wrong, put right on the morning
	kinds := map[alerts.Kind]int{}
	keys := map[string]bool{}
	var log strings.Builder
	for _, m := range box.got {
		for _, k := range m.Kinds {
			kinds[k]++
		}
		if keys[m.Key] {
			t.Errorf("twice: %s", m.Text)
		}
		if strings.Contains(m.Text, "<no value>") || strings.Count(strings.ToLower(m.Text), "tip") > 1 && strings.Contains(m.Text, "\n") {
			t.Errorf("lacks a fact, or says twice what to tip out: %s", m.Text)
		}
		keys[m.Key] = true
		at := m.MadeAt.In(site.Zone)
		if m.Says(alerts.Evening) {
			evenings[at.AddDate(0, 0, 1).Format(time.DateOnly)]++
			if strings.Contains(m.Text, "No run tomorrow") ||
				strings.Contains(m.Text, "unlikely to run tomorrow") { // it tells what to gather
				quiet[at.AddDate(0, 0, 1).Format(time.DateOnly)] = true
			}
			if at.Hour() != 18 || at.Minute() != 30 {
				t.Errorf("an evening text at %s", at)
			}
		}
		if m.Says(alerts.DrySugar) {
			if at.Sub(sugar) < 7*24*time.Hour || at.Before(site.Groups[0].Tapped) || !m.Until.After(m.MadeAt) {
				t.Errorf("hours for sugar at %s, last at %s: %s", at, sugar, m.Text)
			}
			sugar = at
		}
		if m.Says(alerts.EndHere) {
			ended = at.Format(time.DateOnly)
		}
		if ended < at.Format(time.DateOnly) && (m.Says(alerts.Evening) || m.Says(alerts.Change)) {
			t.Errorf("a run is told after the end: %s", m.Text)
		}
		if byDay[at.Format(time.DateOnly)]++; byDay[at.Format(time.DateOnly)] > 2 {
			t.Errorf("a third message on %s: %s", at.Format(time.DateOnly), m.Text)
		}
		if m.Says(alerts.Question) && (at.Hour() != 18 || strings.Count(m.Text, "?") != 1) {
			t.Errorf("asked at %s: %s", at, m.Text)
		}
		if m.Says(alerts.Change) && (at.Hour() < 5 || at.Hour() > 18) && !strings.Contains(m.Text, "called off") {
			t.Errorf("a change by night, at %s: %s", at, m.Text)
		}
		if m.Says(alerts.Change) && strings.Contains(m.Text, "after all") {
			afterAll[at.Format(time.DateOnly)] = true
		}
		fmt.Fprintf(&log, "%s %-12s %s\n", at.Format("Jan 02 15:04"), m.Kind, strings.ReplaceAll(m.Text, "\n", " / "))
	}
	missed, late, runs, empty := 0, 0, 0, 0
	for day := begin.In(site.Zone).AddDate(0, 0, 10); day.Before(end); day = day.AddDate(0, 0, 1) {
		date := day.Format(time.DateOnly)
		if ran[date] >= volume.RunDayL {
			switch runs++; {
			case evenings[date] > 0, date > ended:
			case afterAll[date]:
				late++
			default:
				missed++
				t.Logf("%s gave %.2f L a tap and was not announced", date, ran[date])
			}
		}
		if evenings[date] > 1 {
			t.Errorf("%s announced %d times", date, evenings[date])
		}
		if evenings[date] == 1 && !quiet[date] && ran[date] < 0.1 {
			empty++
		}
	}
	t.Logf("%d messages in %d weeks: %v; %d run days, %d told on the morning only, %d not announced; %d evenings for days that gave nothing", len(box.got), int(end.Sub(begin).Hours()/168), kinds, runs, late, missed, empty)
	if os.Getenv("THAWLINE_SHOW") != "" {
		t.Log("\n" + log.String())
	}
	ahead, asked := kinds[alerts.LookingAhead]+kinds[alerts.GetReady], kinds[alerts.Question]
	if missed > mayBeMissed || late > mayBeLate || empty > 4 || len(box.got) > 60 || ahead > 20 || asked > 12 || kinds[alerts.Change] > 10 {
		t.Errorf("%d run days missed, %d messages, %d changes", missed, len(box.got), kinds[alerts.Change])
	}
	return log.String()
}

// With the feed dead for days the evening text still comes, from the last
// forecast, with its age and a wider range; then it says that nothing is known, once and
// after a week again.
func TestFeedDead(t *testing.T) {
	site, truth := hill(t)
	box := &recorder{}
	died := time.Date(2015, 3, 9, 12, 0, 0, 0, time.UTC)
	asker := &oracle{truth: truth, place: site.Place, dead: func(now time.Time) bool { return now.After(died) }}
	begin := time.Date(2015, 3, 7, 12, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), settings(site, asker, map[string]channel.Channel{"text": box}), begin)
	through(d, begin, begin.AddDate(0, 0, 16))
	var evenings, unknown []string
	for _, m := range box.got {
		switch {
		case m.Says(alerts.Evening):
			evenings = append(evenings, m.MadeAt.In(site.Zone).Format("01-02")+" "+m.Text)
		case m.Says(alerts.NoForecast):
			unknown = append(unknown, m.MadeAt.In(site.Zone).Format("01-02")+" "+m.Text)
		}
	}
	t.Logf("evenings:\n%s\nunknown:\n%s", strings.Join(evenings, "\n"), strings.Join(unknown, "\n"))
	old := 0
	for _, s := range evenings {
		if strings.Contains(s, "OLD WEATHER") {
			old++
		}
	}
	if old < 5 || old > 6 || len(unknown) != 2 || !strings.Contains(unknown[len(unknown)-1], "I do not know when sap runs") {
		t.Error("the evening fell silent, or claims to know")
	}
}

// One evening text on each side of both changes of the clocks.
func TestClockChanges(t *testing.T) {
	site, truth := hill(t)
	for name, day := range map[string]time.Time{"spring": time.Date(2015, 3, 8, 0, 0, 0, 0, site.Zone),
		"autumn": time.Date(2015, 11, 1, 0, 0, 0, 0, site.Zone)} {
		var slots []string
		d := started(t, filepath.Join(t.TempDir(), "d.db"), settings(site, &oracle{truth: truth, place: site.Place}, nil),
			day.AddDate(0, 0, -2))
		for _, j := range d.jobs {
			if j.name == "evening" {
				for at := j.schedule.Next(day.AddDate(0, 0, -2)); at.Before(day.AddDate(0, 0, 3)); at = j.schedule.Next(at) {
					slots = append(slots, at.In(site.Zone).Format("01-02 15:04"))
				}
			}
		}
		if len(slots) != 5 || len(slices.Compact(slots)) != 5 {
			t.Errorf("%s: %v", name, slots)
		}
		for _, s := range slots {
			if !strings.HasSuffix(s, "18:30") {
				t.Errorf("%s: %v", name, slots)
			}
		}
	}
}

// A start after the evening hour still tells; one in the night leaves it out; a
// second start says nothing twice.
func TestStartAfterDowntime(t *testing.T) {
	site, truth := hill(t)
	for hour, want := range map[int]int{19: 1, 22: 1, 23: 0} {
		box := &recorder{}
		s := settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": box})
		s.People[0].Quiet = channel.Quiet{}
		path := filepath.Join(t.TempDir(), "d.db")
		now := time.Date(2015, 3, 9, hour, 0, 0, 0, site.Zone)
		for range 2 {
			d := started(t, path, s, now)
			d.Step(context.Background(), now)
			if err := d.Archive.Close(); err != nil {
				t.Fatal(err)
			}
			now = now.Add(5 * time.Minute)
		}
		got := 0
		for _, m := range box.got {
			if m.Says(alerts.Evening) {
				got++
			}
		}
		if got != want {
			t.Errorf("started at %d: %d evening texts, want %d", hour, got, want)
		}
	}
}

// Names and forms of the metrics, by Prometheus' own tool.
func TestMetricsByPromtool(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed: metrics are not checked by it")
	}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), evenSettings("http://127.0.0.1:1"), time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC))
	d.Step(context.Background(), time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC))
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC) }))
	defer server.Close()
	answer, err := http.Get(server.URL + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	cmd := exec.Command(promtool, "check", "metrics")
	cmd.Stdin = answer.Body
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
}
