package daemon

import (
	"context"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Last years' notebooks move what is held of the yields: by their sums alone, by
// each visit where the weather is kept; what was worked out is kept until a record
// changes.
func TestEarlierSeasonsTeach(t *testing.T) {
	zone := newYork(t)
	a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "a.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	site := &forecast.Site{ID: "hill", Zone: zone, TreeDiameterM: 0.3,
		Place:  weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300},
		Groups: []forecast.Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 12}}}
	now := time.Date(2026, 3, 10, 18, 0, 0, 0, zone)
	taught := func() forecast.Taught {
		t.Helper()
		got, err := Taught(context.Background(), a, site, "here", now)
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	put := func(year, visits, every int, litres float64) {
		t.Helper()
		var all []records.Visit
		for i := range visits {
			all = append(all, records.Visit{Site: "hill", Group: "pails", Taps: 50,
				CollectedAt: time.Date(year, 3, 1+every*i, 17, 0, 0, 0, zone), VolumeL: litres, BrixPct: math.NaN()})
		}
		if _, err := a.PutVisits(context.Background(), all, "ann", now); err != nil {
			t.Fatal(err)
		}
	}
	if got := taught(); got.Any() || got.Know.Groups != nil {
		t.Errorf("an empty notebook taught %+v", got)
	}
	put(2022, 3, 14, 400) // over four weeks, but too few for a season
	if got := taught(); got.Any() {
		t.Errorf("three visits taught %+v", got)
	}
	put(2023, 10, 3, 400) // 80 L a tap, twice a usual season
	first := taught()
	if first.Seasons[0] != 1 || first.BySums != 1 || first.LeftOut != 1 || first.Know.Groups[0].LogMean < volume.Prior(volume.Pail).LogMean+0.02 {
		t.Errorf("a rich season taught %+v", first)
	}
	put(2024, 10, 3, 100) // 20 L a tap
	second := taught()
	if second.Seasons[0] != 2 || second.Know.Groups[0].LogMean >= first.Know.Groups[0].LogMean {
		t.Errorf("a poor season taught %+v after %+v", second, first)
	}
	// A winter and spring of freezing nights: the same visits, held against its flow.
	hours := weather.NewSeries(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC), 130*24)
	for i := range hours.Hours() {
		hours.Col(weather.TemperatureC)[i] = 1 - 6*math.Cos(2*math.Pi*float64(i-9)/24)
	}
	if err := a.PutHours(context.Background(), "here", &hours); err != nil {
		t.Fatal(err)
	}
	third := taught()
	if third.Seasons[0] != 2 || third.BySums != 1 || cmp.Equal(third.Know.Groups[0], second.Know.Groups[0]) || third.Years.Days() < 120 {
		t.Errorf("with weather: %v seasons, %+v, %d days of earlier years", third.Seasons, third.Know.Groups, third.Years.Days())
	}
	again := taught()
	if again.Seasons[0] != 2 || !cmp.Equal(again.Know.Groups[0], third.Know.Groups[0]) || again.Years.Days() != third.Years.Days() ||
		len(third.Ends) != 1 || len(again.Ends) != 1 || again.Ends[0].Warmth != third.Ends[0].Warmth ||
		!again.Ends[0].On.Equal(third.Ends[0].On) {
		t.Errorf("what was kept differs: %+v, %+v", again, third)
	}
	site.Groups = append(site.Groups, forecast.Group{ID: "bags", Taps: 10, Method: "bag", ContainerL: 12})
	if got := taught(); len(got.Know.Groups) != 2 {
		t.Errorf("a new group: %+v", got.Know.Groups)
	}
}

// How far the forecast sees is measured by the evenings of earlier seasons: evenings that
// were right a week ahead, and evenings that told nothing, each for eight springs.
func TestEarlierEveningsTellHowFarTheForecastSees(t *testing.T) {
	zone := newYork(t)
	now := time.Date(2026, 3, 10, 18, 0, 0, 0, zone)
	site := &forecast.Site{ID: "hill", Zone: zone, TreeDiameterM: 0.3,
		Place:  weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300},
		Groups: []forecast.Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 12}}}
	for name, c := range map[string]struct {
		knows       bool
		least, most int
	}{"right": {true, 6, 7}, "told nothing": {false, 1, 1}} {
		a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "a.db"))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := Taught(t.Context(), a, site, "here", now); err != nil || got.SeesDays != 0 {
			t.Errorf("without evenings %d days, %v", got.SeesDays, err)
		}
		for year := 2018; year < 2026; year++ {
			// Five days of thaw by day, then five that stay frozen.
			hours := weather.NewSeries(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC), 100*24)
			for i := range hours.Hours() {
				mean := -9.0
				if i/24/5%2 == 0 {
					mean = 3
				}
				hours.Col(weather.TemperatureC)[i] = mean - 7*math.Cos(2*math.Pi*float64(i-9)/24)
			}
			if err := a.PutHours(t.Context(), "here", &hours); err != nil {
				t.Fatal(err)
			}
			past, err := forecast.LookBack(forecast.PastInputs{Site: *site, Weather: hours, To: time.Date(year, 7, 1, 0, 0, 0, 0, zone)})
			if err != nil {
				t.Fatal(err)
			}
			for i := range past.Days {
				e := forecast.Evening{Date: past.Days[i].Date}
				for _, d := range past.Days[i+1 : min(i+8, len(past.Days))] {
					p := 0.5
					if c.knows {
						if p = 0.1; d.Ran {
							p = 0.9
						}
					}
					e.Days = append(e.Days, forecast.Day{Date: d.Date, RunProbability: p})
				}
				if err := a.PutMade(t.Context(),
					&archive.Made{Site: site.ID, Made: now, Issued: now, Date: e.Date, Evening: &e}); err != nil {
					t.Fatal(err)
				}
			}
		}
		for range 2 { // measured, and then kept
			got, err := Taught(t.Context(), a, site, "here", now)
			if err != nil || got.SeesDays < c.least || got.SeesDays > c.most {
				t.Errorf("%s: sees %d days, want %d to %d; %v", name, got.SeesDays, c.least, c.most, err)
			}
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
