package sections

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// stages are what the season page says of where a season is, in their order.
var stages = []string{"not yet begun", "too early to tap", "time to tap", "under way", "winding down", "has likely turned"}

// What the season page says of where the season is, evening by evening from January to
// June, through four springs (hill: HF001, Boose, 0.58 K warmer; Wisconsin by Madison's air,
// GHCN-Daily) and forecasts that err as forecasts do. A maker bores two days after "time to
// tap". Each stage comes after the one before it and is not taken back, but that "time to
// tap", which is said of the next ten days, may pass once before they bore; the answer on top
// says the same, is about sap to come while it comes, and is silent from the end on. THAWLINE_DAILY=1 asks each evening, not each sixth.
func TestStagesComeInTheirOrder(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	central, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	hill, dairy := weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251},
		weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}
	const forest, madison = "data/forest-station-2012-2014-daily.csv", "data/madison-daily-1990-2020.csv"
	for _, s := range []struct {
		name, file string
		place      weather.Place
		zone       *time.Location
		warmerK    float64
		year       int
	}{{"hill 2013", forest, hill, newYork, 0.58, 2013}, {"hill 2014", forest, hill, newYork, 0.58, 2014},
		{"Wisconsin 2015", madison, dairy, central, 0, 2015}, {"Wisconsin 2020", madison, dairy, central, 0, 2020}} {
		t.Run(s.name, func(t *testing.T) {
			f := beside.Open(t, s.file)
			days, err := weather.ReadDailyCSV(f, f.Name())
			if err != nil {
				t.Fatal(err)
			}
			days.FillGaps()
			truth := days.Between(time.Date(s.year-1, 12, 1, 0, 0, 0, 0, time.UTC), time.Date(s.year, 7, 1, 0, 0, 0, 0, time.UTC))
			whole := truth.Hourly(s.place)
			for i := range whole.Hours() {
				whole.Col(weather.TemperatureC)[i] += s.warmerK
			}
			site := forecast.Site{ID: "hill", Name: "Hill", Place: s.place, Zone: s.zone, TreeDiameterM: 0.3,
				Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
				Groups:   []forecast.Group{{ID: "pails", Name: "Pails", Taps: 50, Method: volume.Pail, ContainerL: 7.5}}}
			w, err := message.NewWords(message.Reader{Language: "en", Units: units.Metric})
			if err != nil {
				t.Fatal(err)
			}
			step := 6
			if os.Getenv("THAWLINE_DAILY") != "" {
				step = 1
			}
			var told []string
			for now := time.Date(s.year, 1, 7, 18, 30, 0, 0,
				s.zone); now.Before(time.Date(s.year, 6, 10, 0, 0, 0, 0, s.zone)); now = now.AddDate(0, 0, step) {
				o := foreseen(t, site, &whole, now)
				if o.Season.WorthTapping && site.Groups[0].Tapped.IsZero() {
					site.Groups[0].Tapped = now.AddDate(0, 0, 2)
				}
				stage := stageOf(t, OfSeason(o, w, units.Metric))
				answer, _ := SeasonAnswer(o, w)
				if want := map[int]string{2: "Time to tap", 3: "still to come", 4: "still to come"}[stage]; !strings.Contains(answer,
					want) || stage == 5 && answer != "" {
					t.Errorf("%s: %q, while the season is %s", now.Format("Jan 2"), answer, stages[stage])
				}
				if n := len(told); n == 0 || told[n-1] != stages[stage] {
					told = append(told, stages[stage])
					t.Logf("%s: %s; %s", now.Format("Jan 2"), stages[stage], answer)
				}
			}
			at, passed := 0, 0
			for _, stage := range told {
				i := slices.Index(stages, stage)
				if i < at && at == 2 {
					passed++
				} else if i < at {
					t.Errorf("taken back: %s", strings.Join(told, ", "))
				}
				at = i
			}
			if passed > 1 {
				t.Errorf("time to tap passed %d times: %s", passed, strings.Join(told, ", "))
			}
			if all := strings.Join(stages[3:], ", "); !strings.HasSuffix(strings.Join(told, ", "), all) ||
				!slices.Contains(told, stages[2]) {
				t.Errorf("told %s", strings.Join(told, ", "))
			}
		})
	}
}

// foreseen is the outlook of an evening from the weather so far and a forecast that errs.
func foreseen(t *testing.T, site forecast.Site, whole *weather.Series, now time.Time) *forecast.Outlook {
	t.Helper()
	split := whole.Index(now) + 1
	ahead, past := whole.Slice(split, split+240), whole.Slice(0, split)
	ahead.FillGaps()
	ahead.Complete(site.Place)
	erring := weather.ErrorMembers(&ahead, site.Place, now, 2, uint64(now.Unix()))[1]
	o, err := forecast.Make(forecast.Inputs{Site: site,
		Bulletin: weather.Bulletin{Source: "file", IssuedAt: now, Course: past.Overlay(&erring), ElevationM: math.NaN()}, Now: now,
		Seed: uint64(now.Unix())})
	if err != nil {
		t.Fatal(err)
	}
	return &o
}

// stageOf finds the one stage that the page names.
func stageOf(t *testing.T, page []Section) int {
	t.Helper()
	said := saidIn(page, Stage)
	found := -1
	for i, words := range stages {
		if strings.Contains(said, words) {
			if found >= 0 {
				t.Errorf("two stages at once: %s", said)
			}
			found = i
		}
	}
	if found < 0 {
		t.Fatalf("no stage: %s", said)
	}
	return found
}
