package source_test

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// says is a service that gives one temperature, waving with the day.
type says struct {
	name string
	at   func(place weather.Place, now time.Time) float64
}

func (s says) Name() string { return s.name }

func (s says) Forecast(_ context.Context, r source.Request) (weather.Bulletin, error) {
	course := weather.NewSeries(r.Now.Add(-60*time.Hour), 240)
	for i := range course.Hours() {
		course.Col(weather.TemperatureC)[i] = s.at(r.Place, r.Now) + 5*math.Sin(2*math.Pi*float64(course.Time(i).Hour()-9)/24)
	}
	return weather.Bulletin{Source: s.name, IssuedAt: r.Now, FetchedAt: r.Now, Course: course, ElevationM: math.NaN()}, nil
}

// What a service said the evening, the morning and the day before is there for the
// next forecast, in a folder and in a database, through restarts and services that
// were out of reach, and it does not grow.
func TestWhatWasToldIsRemembered(t *testing.T) {
	dir, store := t.TempDir(), openStore(t)
	hourly := says{"hourly", func(_ weather.Place, now time.Time) float64 { return float64(now.Sub(noon)/time.Hour) / 24 }}
	for _, where := range []string{"folder", "database"} {
		var now time.Time
		for question := range 120 {
			var keep *source.Keep
			if where == "folder" {
				var err error
				if keep, err = source.NewKeep(dir); err != nil {
					t.Fatal(err)
				}
			} else {
				keep = source.NewSharedKeep(store)
			}
			now = noon.Add(time.Duration(question) * 70 * time.Minute)
			service := hourly
			if question%40 == 39 {
				service.name = "other"
			}
			chain := source.Chain{Forecasters: []source.Forecaster{service}, Keep: keep}
			o, err := chain.Ask(t.Context(), "b", request(now))
			if err != nil {
				t.Fatal(err)
			}
			if question == 0 && len(o.Bulletin.Earlier) != 0 {
				t.Errorf("%s: %d courses were told before the first", where, len(o.Bulletin.Earlier))
			}
			if question < 30 {
				continue
			}
			if n := len(o.Bulletin.Earlier); n < 11 || n > 15 {
				t.Fatalf("%s: %d courses are remembered", where, n)
			}
			for _, ago := range []time.Duration{12 * time.Hour, 24 * time.Hour} {
				off := 100 * time.Hour
				for i := range o.Bulletin.Earlier {
					told := &o.Bulletin.Earlier[i]
					off = min(off, (now.Sub(told.IssuedAt) - ago).Abs())
					if told.Course.Hours() > 60 || told.Course.Has(weather.DewPointC) || now.Sub(told.IssuedAt) > 36*time.Hour {
						t.Fatalf("%s: %d hours of %s are remembered", where, told.Course.Hours(), told.IssuedAt)
					}
					at := told.Course.At(weather.TemperatureC, told.Course.Index(told.IssuedAt.Truncate(24*time.Hour).Add(33*time.Hour)))
					if want := float64(told.IssuedAt.Sub(noon)/time.Hour) / 24; math.Abs(at-want) > 1e-9 {
						t.Fatalf("%s: %.3f °C was told at %s, remembered as %.3f", where, want, told.IssuedAt, at)
					}
				}
				if off > 2*time.Hour {
					t.Fatalf("%s: nothing of %s ago is remembered, by %s", where, ago, off)
				}
			}
		}
	}
}

// A cell whose weather lies far from that of its neighbour is not believed: the next
// service is asked; one that lies colder by what weather can do is.
func TestNeighboursAreHeldAgainstEachOther(t *testing.T) {
	sites := []source.Located{
		{ID: "a", Place: weather.Place{LatitudeDeg: 44.05, LongitudeDeg: -72.05, ElevationM: 300}},
		{ID: "b", Place: weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -72.05, ElevationM: 300}},
		{ID: "far", Place: weather.Place{LatitudeDeg: 46.15, LongitudeDeg: -72.05, ElevationM: 300}},
	}
	for _, c := range []struct {
		site   string
		byK    float64
		source string
	}{{"b", 0, "first"}, {"b", -8, "first"}, {"b", 14, "second"}, {"b", -14, "second"}, {"far", -14, "first"}} {
		first := says{"first", func(p weather.Place, _ time.Time) float64 {
			if p.LatitudeDeg > 44.1 {
				return 1 + c.byK
			}
			return 1
		}}
		second := says{"second", func(weather.Place, time.Time) float64 { return 0 }}
		cells, err := source.NewCells(&source.Chain{Forecasters: []source.Forecaster{first, second}}, sites)
		if err != nil {
			t.Fatal(err)
		}
		if o, err := cells.Ask(t.Context(), "a", request(noon)); err != nil || o.Bulletin.Source != "first" {
			t.Fatalf("from %q: %v", o.Bulletin.Source, err)
		}
		o, err := cells.Ask(t.Context(), c.site, request(noon))
		if err != nil || o.Bulletin.Source != c.source {
			t.Errorf("%s, %+.0f K from the neighbour: from %q: %v", c.site, c.byK, o.Bulletin.Source, err)
			continue
		}
		if doubted := len(o.Attempts) > 0 &&
			strings.Contains(o.Attempts[0].Fault.Error(), "a few kilometres away"); doubted != (c.source == "second") {
			t.Errorf("%s, %+.0f K from the neighbour: attempts %v", c.site, c.byK, o.Attempts)
		}
	}
}
