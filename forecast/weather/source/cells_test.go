package source_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/forecast/archive"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// crowd is Open-Meteo's published form for several places: a list in their order,
// one thing for one place. It counts what it is asked.
type crowd struct {
	mu               sync.Mutex
	calls, places    map[string]int
	most             int // calls in one second
	seconds          map[int64]int
	hours            int
	now              time.Time
	refuses, shorter bool
}

func newCrowd(now time.Time) *crowd {
	return &crowd{calls: map[string]int{}, places: map[string]int{}, seconds: map[int64]int{}, hours: 240, now: now}
}

func (c *crowd) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	latitudes := strings.Split(r.URL.Query().Get("latitude"), ",")
	c.mu.Lock()
	c.calls[r.URL.Path]++
	c.places[r.URL.Path] += len(latitudes)
	second := time.Now().Unix()
	c.seconds[second]++
	c.most = max(c.most, c.seconds[second])
	now := c.now
	c.mu.Unlock()
	if c.refuses && len(latitudes) > 1 {
		w.WriteHeader(http.StatusBadRequest)
		_, _ = fmt.Fprint(w, `{"error":true,"reason":"Parameter 'latitude' and 'longitude' must not exceed 1 coordinates."}`)
		return
	}
	start := now.Truncate(24*time.Hour).AddDate(0, 0, -3)
	var all []any
	for _, latitude := range latitudes {
		degrees, err := strconv.ParseFloat(latitude, 64)
		if err != nil {
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		hourly, units := map[string]any{}, map[string]string{}
		var times []int64
		course := make([]float64, c.hours)
		for i := range c.hours {
			times = append(times, start.Add(time.Duration(i)*time.Hour).Unix())
			course[i] = math.Round(10*(degrees-44+6*math.Sin(2*math.Pi*float64(i-9)/24))) / 10
		}
		hourly["time"] = times
		names := []string{"temperature_2m"}
		if r.URL.Path == "/v1/ensemble" {
			names = append(names, "temperature_2m_member01")
		}
		for _, name := range names {
			hourly[name], units[name] = course, "°C"
		}
		all = append(all, map[string]any{"latitude": degrees, "elevation": 100 * degrees, "utc_offset_seconds": 0, "timezone": "GMT",
			"hourly": hourly, "hourly_units": units})
	}
	if c.shorter {
		all = all[:len(all)-1]
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Date", now.UTC().Format(http.TimeFormat))
	if len(all) == 1 {
		_ = json.NewEncoder(w).Encode(all[0])
		return
	}
	_ = json.NewEncoder(w).Encode(all)
}

// region scatters sites over a quarter of a million square kilometres' tenth: 250
// by 240 km of sugarbush country.
func region(count int) []source.Located {
	rng := rand.New(rand.NewPCG(7, 7))
	sites := make([]source.Located, count)
	for i := range sites {
		sites[i] = source.Located{ID: fmt.Sprintf("m%d", i),
			Place: weather.Place{LatitudeDeg: 43.6 + 2.2*rng.Float64(), LongitudeDeg: -73.4 + 3.0*rng.Float64(),
				ElevationM: math.Round(100 + 500*rng.Float64())}}
	}
	return sites
}

// program is what one daemon asks with.
func program(t *testing.T, address string, sites []source.Located, store *archive.Archive, bound source.Bound) *source.Cells {
	t.Helper()
	options := source.Options{Bounds: map[string]source.Bound{"open_meteo": bound}, FirstWait: time.Millisecond, MaxWait: time.Millisecond}
	chain := &source.Chain{}
	if store != nil {
		options.Budgets, chain.Keep = store, source.NewSharedKeep(store)
	}
	client, err := source.NewClient(options)
	if err != nil {
		t.Fatal(err)
	}
	chain.Forecasters = []source.Forecaster{source.NewOpenMeteo(client, source.OpenMeteoOptions{BaseURL: address})}
	cells, err := source.NewCells(chain, sites)
	if err != nil {
		t.Fatal(err)
	}
	return cells
}

func openStore(t *testing.T) *archive.Archive {
	t.Helper()
	a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "a.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return a
}

var noon = time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)

func request(now time.Time) source.Request {
	return source.Request{Place: weather.Place{LatitudeDeg: math.NaN()}, Now: now, PastDays: 2, Days: 6}
}

// Each site of a row of cells gets its own cell's weather, whoever asked for it,
// and neighbours are not asked for again, not by another program either, until it
// is stale.
func TestCellsShareQuestions(t *testing.T) {
	service, alone := newCrowd(noon), newCrowd(noon)
	server, other := httptest.NewServer(service), httptest.NewServer(alone)
	defer server.Close()
	defer other.Close()
	var sites []source.Located
	for i := range 24 {
		sites = append(sites, source.Located{ID: fmt.Sprintf("m%d", i),
			Place: weather.Place{LatitudeDeg: 44.02 + 0.05*float64(i), LongitudeDeg: -72.95, ElevationM: 300}})
	}
	store := openStore(t)
	here, there := program(t, server.URL, sites, store, source.Bound{}), program(t, server.URL, sites, store, source.Bound{})
	for i, s := range sites {
		o, err := here.Ask(t.Context(), s.ID, request(noon))
		if err != nil {
			t.Fatal(err)
		}
		middle := 44.02 + 0.05*float64(i/2*2) + 0.025 // of the two in the cell
		if got := o.Bulletin.ElevationM / 100; math.Abs(got-middle) > 0.001 || len(o.Bulletin.Members) != 2 || o.Kept {
			t.Errorf("%s got the weather of %.3f, want %.3f; %d members", s.ID, got, middle, len(o.Bulletin.Members))
		}
	}
	if service.calls["/v1/forecast"] != 2 || service.places["/v1/forecast"] != 12 || service.calls["/v1/ensemble"] != 2 {
		t.Errorf("12 cells took %v calls for %v places", service.calls, service.places)
	}
	for _, s := range sites {
		if _, err := there.Ask(t.Context(), s.ID, request(noon.Add(time.Hour))); err != nil {
			t.Fatal(err)
		}
	}
	if service.places["/v1/forecast"] != 12 {
		t.Errorf("another program asked again: %v", service.places)
	}
	if _, err := there.Ask(t.Context(), "m0", request(noon.Add(2*time.Hour))); err != nil || service.places["/v1/forecast"] != 22 {
		t.Errorf("stale weather was not asked for anew, with stale neighbours: %v %v", service.places, err)
	}
	single := program(t, other.URL, sites, nil, source.Bound{}) // keeps nothing but in memory
	for i := range sites {
		if _, err := single.Ask(t.Context(), sites[(i*7)%len(sites)].ID, request(noon)); err != nil {
			t.Fatal(err)
		}
	}
	if alone.places["/v1/forecast"] != 12 {
		t.Errorf("a program alone asked for %v places in 12 cells", alone.places)
	}
	if o, err := here.Ask(t.Context(), "stranger",
		source.Request{Place: weather.Place{LatitudeDeg: 45.5, LongitudeDeg: -72, ElevationM: math.NaN()}, Now: noon, PastDays: 2,
			Days: 6}); err != nil || math.Abs(o.Bulletin.ElevationM-4550) > 1 {
		t.Errorf("a site outside the cells: %v %v", o.Bulletin.ElevationM, err)
	}
}

// A service that refuses lists, or gives too short a one, is asked place by place.
func TestCellsWithoutLists(t *testing.T) {
	for _, spoil := range []func(*crowd){func(c *crowd) { c.refuses = true }, func(c *crowd) { c.shorter = true }} {
		service := newCrowd(noon)
		spoil(service)
		server := httptest.NewServer(service)
		sites := region(30)
		cells := program(t, server.URL, sites, nil, source.Bound{})
		_, err := cells.Ask(t.Context(), "m3", request(noon))
		server.Close()
		if service.shorter { // one place is then none: nothing to fall back on
			if err == nil {
				t.Error("an empty answer stood")
			}
			continue
		}
		if err != nil {
			t.Error(err)
		}
	}
}

// The afternoon and evening of ten thousand members in one region, asked by two
// daemons: every site looks for weather every three hours, once in the hour before
// its evening text, and for that. What it costs the service is far below a question
// a member, the bound a second is held by both together, and no cell is asked for
// twice at a time.
func TestAnEveningOfTenThousandMembers(t *testing.T) {
	if testing.Short() {
		t.Skip("asks some hundred times")
	}
	service := newCrowd(noon)
	server := httptest.NewServer(service)
	defer server.Close()
	sites := region(10_000)
	store := openStore(t)
	const perSecond = 60
	daemons := []*source.Cells{program(t, server.URL, sites, store, source.Bound{PerSecond: perSecond}),
		program(t, server.URL, sites, store, source.Bound{PerSecond: perSecond})}
	inCells := map[string]bool{}
	for _, s := range sites {
		inCells[source.CellOf(s.Place)] = true
	}
	slices.SortFunc(sites, func(a, b source.Located) int {
		return strings.Compare(source.CellOf(a.Place), source.CellOf(b.Place))
	})
	asked := 0
	round := func(name string, at time.Time, spread time.Duration) {
		service.mu.Lock()
		service.now = at
		before := service.places["/v1/forecast"]
		service.mu.Unlock()
		var wg sync.WaitGroup
		for d, cells := range daemons {
			wg.Go(func() {
				// They begin at opposite ends, as different daemons do; each takes the
				// sites that the other has not taken.
				for k := range sites {
					i := (k + d*len(sites)/2) % len(sites)
					if (i < len(sites)/2) != (d == 0) {
						continue
					}
					when := at.Add(time.Duration(float64(spread) * float64(i) / float64(len(sites))))
					if _, err := cells.Ask(context.Background(), sites[i].ID, request(when)); err != nil {
						t.Error(err)
						return
					}
				}
			})
		}
		wg.Wait()
		asked += len(sites)
		service.mu.Lock()
		t.Logf("%-28s %6d asks, %5d places asked for", name, len(sites), service.places["/v1/forecast"]-before)
		service.mu.Unlock()
	}
	round("refresh from 12 to 15", noon, 0)
	round("refresh from 15 to 18", noon.Add(3*time.Hour), 0)
	round("in the hour before 18:30", noon.Add(5*time.Hour+35*time.Minute), 50*time.Minute)
	round("evening texts at 18:30", noon.Add(6*time.Hour+30*time.Minute), 5*time.Minute)
	calls := service.calls["/v1/forecast"] + service.calls["/v1/ensemble"]
	t.Logf("%d sites in %d cells: %d asks, %d HTTP calls for %d forecasts and %d ensembles; at most %d calls in a second",
		len(sites), len(inCells), asked, calls, service.places["/v1/forecast"], service.places["/v1/ensemble"], service.most)
	if most := 3 * (len(inCells) + 20); service.places["/v1/forecast"] > most {
		t.Errorf("%d places asked for, want at most %d: three times each cell, and a few where two rows meet",
			service.places["/v1/forecast"], most)
	}
	if calls > 410 {
		t.Errorf("%d calls, the guide tells of 402", calls)
	}
	if service.most > perSecond+2 {
		t.Errorf("%d calls in one second, the bound is %d", service.most, perSecond)
	}
}
