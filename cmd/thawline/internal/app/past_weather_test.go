package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/daemon"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// pastServer answers as an archive of hours does (APIS: /v1/archive, start_date to end_date),
// with the faults of its questions by their number.
type pastServer struct {
	mu     sync.Mutex
	asked  []string
	faults map[int]func(w http.ResponseWriter)
}

func (p *pastServer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	n := len(p.asked)
	p.asked = append(p.asked, r.URL.Query().Get("start_date"))
	fault := p.faults[n]
	p.mu.Unlock()
	if fault != nil {
		fault(w)
		return
	}
	from, _ := time.Parse(time.DateOnly, r.URL.Query().Get("start_date"))
	to, _ := time.Parse(time.DateOnly, r.URL.Query().Get("end_date"))
	var unix []int64
	var air []float64
	for t := from; t.Before(to.AddDate(0, 0, 1)); t = t.Add(time.Hour) {
		unix = append(unix, t.Unix())
		season := -12 * math.Cos(2*math.Pi*float64(t.YearDay()-20)/365)
		air = append(air, 5+season+6*math.Sin(2*math.Pi*float64(t.Hour()-15)/24)+3*math.Sin(float64(t.YearDay()/4)))
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(map[string]any{"utc_offset_seconds": 0, "elevation": 250, "timezone": "GMT",
		"hourly_units": map[string]string{"time": "unixtime", "temperature_2m": "°C"},
		"hourly":       map[string]any{"time": unix, "temperature_2m": air}})
}

// A notebook of ten seasons on a machine that knows no weather: every visit of every year
// teaches in the end, faults of the service and an end in the middle lose nothing, and
// nothing is asked for twice.
func TestPastWinters(t *testing.T) {
	zone := time.FixedZone("bush", -5*3600)
	site := &forecast.Site{ID: "bush", Zone: zone, Place: weather.Place{LatitudeDeg: 44, LongitudeDeg: -72.5, ElevationM: 250},
		TreeDiameterM: 0.3,
		Groups:        []forecast.Group{{ID: "north", Taps: 100, Method: volume.Pail, ContainerL: 7.5}}}
	now := time.Date(2026, 11, 20, 12, 0, 0, 0, zone)
	path := filepath.Join(t.TempDir(), "a.db")
	a, err := archive.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	var visits []records.Visit
	for year := 2017; year <= 2026; year++ {
		for k := range 8 {
			visits = append(visits, records.Visit{Site: site.ID, Group: "north", Taps: 100,
				CollectedAt: time.Date(year, 3, 12+3*k, 16, 0, 0, 0, zone), VolumeL: 150 + 40*float64(k%3), BrixPct: math.NaN()})
		}
	}
	if _, err := a.PutVisits(t.Context(), visits, "notebook", now); err != nil {
		t.Fatal(err)
	}
	busy := func(w http.ResponseWriter) {
		w.Header().Set("Retry-After", "0")
		w.WriteHeader(http.StatusTooManyRequests)
	}
	cut := func(w http.ResponseWriter) {
		w.Header().Set("Content-Length", "5000")
		_, _ = w.Write([]byte(`{"hourly":`))
	}
	slow := func(w http.ResponseWriter) {
		time.Sleep(60 * time.Millisecond)
		w.WriteHeader(http.StatusInternalServerError)
	}
	server := &pastServer{faults: map[int]func(http.ResponseWriter){3: busy, 9: cut, 10: cut, 15: slow, 40: busy}}
	local := httptest.NewServer(server)
	defer local.Close()
	client, err := source.NewClient(source.Options{Retries: -1, FirstWait: time.Millisecond, MaxWait: time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	var waited time.Duration
	past := PastWeather{Archive: a, Ask: source.NewOpenMeteo(client,
		source.OpenMeteoOptions{BaseURL: local.URL, ArchiveBaseURL: local.URL}), Wait: func(ctx context.Context, d time.Duration) error {
		waited += d
		return ctx.Err()
	}}
	missing, err := past.Missing(t.Context(), site, now)
	if err != nil || len(missing) != 10*winterMonths || missing[0].Spring != 2026 {
		t.Fatalf("%d months are missing, %v", len(missing), err)
	}

	const endAfter = 30 // months, in the middle of a winter
	ctx, end := context.WithCancel(t.Context())
	err = past.Fetch(ctx, site, missing, func(done, of int) {
		if of != len(missing) {
			t.Errorf("%d of %d", done, of)
		}
		if done == endAfter {
			end()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("ended with %v", err)
	}
	if missing, err = past.Missing(t.Context(), site, now); err != nil || len(missing) != 10*winterMonths-endAfter {
		t.Fatalf("%d months are missing after the end, %v", len(missing), err)
	}
	if err := past.Fetch(t.Context(), site, missing, nil); err != nil {
		t.Fatal(err)
	}
	if missing, err = past.Missing(t.Context(), site, now); err != nil || len(missing) != 0 {
		t.Fatalf("%d months are still missing, %v", len(missing), err)
	}
	if n := len(server.asked); n != 10*winterMonths+len(server.faults) {
		t.Errorf("%d questions", n)
	}
	if perSeason := waited / 10; perSeason > 3*time.Minute || perSeason < winterMonths*betweenMonths/2 {
		t.Errorf("%s of waiting a season", perSeason)
	}
	taught, err := daemon.Taught(t.Context(), a, site, PlaceKey(site), now)
	if err != nil || taught.BySums != 0 || taught.LeftOut != 0 || taught.Seasons[0] != 10 {
		t.Errorf("taught by %v seasons, %d by sums, %d left out, %v", taught.Seasons, taught.BySums, taught.LeftOut, err)
	}

	// A month that the service never gives is told, and those before it stay.
	for n := range 20 {
		server.faults[len(server.asked)+n] = cut
	}
	err = past.Fetch(t.Context(), site, []Month{{From: time.Date(2010, 1, 1, 0, 0, 0, 0, zone),
		To: time.Date(2010, 2, 1, 0, 0, 0, 0, zone)}}, nil)
	if err == nil || fmt.Sprint(err)[:18] != "weather of 2010-01" {
		t.Errorf("told %v", err)
	}
}
