package source

import (
	"context"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/testdata"
)

var (
	bush = weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420}
	ask  = Request{Place: bush, Now: testdata.Now(), PastDays: 7, Days: 10}
)

func newTestClient(t *testing.T, change func(*Options)) *Client {
	t.Helper()
	o := Options{Contact: "test@example.org", Version: "test", Timeout: 300 * time.Millisecond, FirstWait: time.Millisecond,
		MaxWait: 5 * time.Millisecond}
	if change != nil {
		change(&o)
	}
	c, err := NewClient(o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// allServices are all adapters, asking one server.
func allServices(c *Client, base string) []Forecaster {
	var s Services
	var all []Forecaster
	for _, one := range All() {
		*one.BaseURL(&s) = base
		f, _ := s.Forecaster(one.Name(), c)
		all = append(all, f)
	}
	return all
}

func truth(t *testing.T) weather.Series {
	t.Helper()
	f, err := testdata.Files.Open("weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	s, _, err := weather.ReadCSV(f, "weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestEachServiceAlone(t *testing.T) {
	server := httptest.NewServer(testdata.Handler())
	defer server.Close()
	true := truth(t)
	for _, f := range allServices(newTestClient(t, nil), server.URL+"/") {
		t.Run(f.Name(), func(t *testing.T) {
			chain := Chain{Forecasters: []Forecaster{f}}
			o, err := chain.Ask(context.Background(), "bush", ask)
			if err != nil {
				t.Fatal(err)
			}
			b := o.Bulletin
			if b.Source != f.Name() || len(b.Credits) == 0 || o.Age < 0 || o.Age > 3*time.Hour {
				t.Errorf("source %s, %d credits, age %s", b.Source, len(b.Credits), o.Age)
			}
			// The forecasts were made from the invented weather with errors of
			// some kelvin, and rounded as each service does.
			b.Course.FillGaps()
			sum, n := 0.0, 0.0
			for i := range 24 {
				at := true.Index(ask.Now) + 1 + i
				if x := b.Course.At(weather.TemperatureC, b.Course.Index(true.Time(at))); !math.IsNaN(x) {
					sum += math.Abs(x - true.At(weather.TemperatureC, at))
					n++
				}
			}
			if n < 20 || sum/n > 3 {
				t.Errorf("%v hours of the next day, off by %.1f K on average", n, sum/n)
			}
			if _, err := weather.Assemble(&b, bush, ask.Now, 1); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestPastIsObserved(t *testing.T) {
	server := httptest.NewServer(testdata.Handler())
	defer server.Close()
	true := truth(t)
	for _, f := range allServices(newTestClient(t, nil), server.URL) {
		if f.Name() == METNorwayName {
			continue // it has no past
		}
		b, err := f.Forecast(context.Background(), ask)
		if err != nil {
			t.Fatal(err)
		}
		for h := 30; h < 140; h++ {
			at := ask.Now.Truncate(time.Hour).Add(-time.Duration(h) * time.Hour)
			got, want := b.Course.At(weather.TemperatureC, b.Course.Index(at)), true.At(weather.TemperatureC, true.Index(at))
			if !math.IsNaN(got) && math.Abs(got-want) > 0.051 {
				t.Fatalf("%s: %s was %.1f °C, not %.1f", f.Name(), at, want, got)
			}
		}
	}
}

func TestEnsembleMembers(t *testing.T) {
	server := httptest.NewServer(testdata.Handler())
	defer server.Close()
	m := NewOpenMeteo(newTestClient(t, nil), OpenMeteoOptions{BaseURL: server.URL + "/v1/forecast"})
	b, err := m.Forecast(context.Background(), ask)
	if err != nil {
		t.Fatal(err)
	}
	e, err := weather.Assemble(&b, bush, ask.Now, 1)
	if err != nil || !e.FromSource || len(e.Futures) != 51 {
		t.Fatalf("%d futures, from the service %v: %v", len(e.Futures), e.FromSource, err)
	}
	if zone, err := m.Zone(context.Background(), bush); err != nil || zone != "America/New_York" {
		t.Errorf("zone %q: %v", zone, err)
	}
	if past, credits, err := m.History(context.Background(), bush, ask.Now.AddDate(0, 0, -6), ask.Now); err != nil ||
		len(credits) != 2 || past.Hours() < 140 {
		t.Errorf("%d hours of archive, %d credits: %v", past.Hours(), len(credits), err)
	}
}

func TestLinksInsideAnswersAreNotFollowed(t *testing.T) {
	var asked atomic.Int32
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked.Add(1)
		if !strings.HasPrefix(r.Header.Get("User-Agent"), "thawline/test (test@example.org)") {
			t.Errorf("User-Agent %q", r.Header.Get("User-Agent"))
		}
		testdata.Handler().ServeHTTP(w, r)
	}))
	defer server.Close()
	if _, err := NewNWS(newTestClient(t, nil), NWSOptions{BaseURL: server.URL}).Forecast(context.Background(), ask); err != nil {
		t.Fatal(err)
	}
	if n := asked.Load(); n != 4 { // point, layers, stations, observations
		t.Errorf("%d questions came here, not 4", n)
	}
}

func TestGridCellThatMovedIsLookedUpAnew(t *testing.T) {
	gone := true
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if gone && strings.HasPrefix(r.URL.Path, "/gridpoints/") {
			gone = false
			w.WriteHeader(http.StatusNotFound)
			return
		}
		testdata.Handler().ServeHTTP(w, r)
	}))
	defer server.Close()
	if _, err := NewNWS(newTestClient(t, nil), NWSOptions{BaseURL: server.URL}).Forecast(context.Background(), ask); err != nil {
		t.Fatal(err)
	}
}

func TestServicesThatWantAContact(t *testing.T) {
	c := newTestClient(t, func(o *Options) {
		o.Contact = ""
		o.Transport = testdata.Transport()
	})
	for _, f := range []Forecaster{NewNWS(c, NWSOptions{}), NewMETNorway(c, METNorwayOptions{})} {
		_, err := f.Forecast(context.Background(), ask)
		want := f.Name() + ": turns away callers that don't say who they are; set weather.contact to an e-mail or web address"
		if err == nil || err.Error() != want {
			t.Errorf("%v", err)
		}
	}
}
