package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
	"thawline/testdata"
)

// Sites are asked for side by side: the race detector looks on.
func TestServicesAskedSideBySide(t *testing.T) {
	settings := demoSettingsFile(t)
	for _, first := range []string{"open_meteo", "nws", "met_norway", "environment_canada"} {
		settings.Weather.Sources = []string{first}
		chain, _, err := Services(Env{Log: slog.New(slog.DiscardHandler)}, settings,
			Storage{dir: t.TempDir(), Transport: testdata.Transport()})
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for i := range 6 {
			wg.Go(func() {
				site := settings.Sites[0]
				site.ID = fmt.Sprint("site-", i%3)
				if _, err := Fetch(t.Context(), chain, &site, testdata.Now()); err != nil {
					t.Errorf("%s: %v", first, err)
				}
			})
		}
		wg.Wait()
	}
}

// askedFor keeps how many days of the past were asked for.
type askedFor struct{ pastDays []int }

func (a *askedFor) Ask(_ context.Context, _ string, r source.Request) (source.Outcome, error) {
	a.pastDays = append(a.pastDays, r.PastDays)
	return source.Outcome{}, errors.New("nobody answers")
}

func (a *askedFor) Warnings(context.Context, string, weather.Place, time.Time) (weather.Warnings, []source.Attempt) {
	return weather.Warnings{}, nil
}

// keptHours are hours of weather that lie in an archive.
type keptHours struct{ weather.Series }

func (k keptHours) Hours(context.Context, string, time.Time, time.Time) (weather.Series, error) {
	return k.Series, nil
}

// A program that does not know the winter asks for it once; one that does, or that has no
// winter behind it, never.
func TestTheWinterIsAskedForOnce(t *testing.T) {
	march, november := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC), time.Date(2025, 11, 5, 12, 0, 0, 0, time.UTC)
	whole := weather.NewSeries(march.AddDate(0, 0, -75), 61*24)
	clear(whole.Col(weather.TemperatureC))
	for name, c := range map[string]struct {
		now  time.Time
		kept weather.Series
		want []int
	}{
		"nothing is kept":     {march, weather.Series{}, []int{75, 14}},
		"the winter is":       {march, whole, []int{14, 14}},
		"winter has not come": {november, weather.Series{}, []int{14, 14}},
	} {
		chain := &askedFor{}
		p := Provider{Services: chain, Kept: keptHours{c.kept}}
		for range 2 {
			if _, err := p.Ask(t.Context(), &forecast.Site{ID: "hill", Zone: time.UTC}, c.now); err == nil {
				t.Error("an answer of nobody")
			}
		}
		if !slices.Equal(chain.pastDays, c.want) {
			t.Errorf("%s: asked for %v days, want %v", name, chain.pastDays, c.want)
		}
	}
}

// A bush that names several stations has the mean of those that answer: of two services
// of which one is out of reach, of a town, and of one that no other bush asks.
func TestAStationThatIsDownStopsNobody(t *testing.T) {
	settings := demoSettingsFile(t)
	nowhere := weather.Place{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN(), ElevationM: math.NaN()}
	site := &settings.Sites[0]
	settings.Weather.Sources = []string{"nws"}
	site.Stations = []weather.Station{{Name: "bush", Place: nowhere}, {Name: "met_norway", Place: nowhere, Service: "met_norway"}}
	for _, down := range []bool{false, true} {
		chain, _, err := Services(Env{Log: slog.New(slog.DiscardHandler)}, settings,
			Storage{dir: t.TempDir(), Transport: testdata.Transport()})
		if err != nil {
			t.Fatal(err)
		}
		want := "bush + met_norway"
		if down {
			chain.Forecasters, want = []source.Forecaster{asleep{}}, "met_norway"
		}
		got, err := Fetch(t.Context(), chain, site, testdata.Now())
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(got.Bulletin.Remarks, func(r weather.Remark) bool { return r.Kind == weather.MixedFrom })
		if i < 0 || got.Bulletin.Remarks[i].Name != want || len(got.PassedOver) > 0 != down || got.Kept {
			t.Errorf("down %v: %v, passed over %v", down, got.Bulletin.Remarks, got.PassedOver)
		}
		if _, err := weather.Assemble(&got.Bulletin, site.Place, testdata.Now(), 1); err != nil {
			t.Errorf("down %v: %v", down, err)
		}
	}
}

// asleep is a service that is out of reach.
type asleep struct{}

func (asleep) Name() string { return "nws" }

func (asleep) Forecast(context.Context, source.Request) (weather.Bulletin, error) {
	return weather.Bulletin{}, errors.New("no route")
}
