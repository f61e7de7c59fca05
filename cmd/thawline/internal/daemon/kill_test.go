package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-resty/resty/v2"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

const (
	killFile = "THAWLINE_TEST_KILL_FILE"
	killURL  = "THAWLINE_TEST_KILL_URL"
	killNow  = "THAWLINE_TEST_KILL_NOW"
)

// TestMain lets the test's program be the process that TestKilledInTheEvening
// kills.
func TestMain(m *testing.M) {
	if path := os.Getenv(killFile); path != "" {
		if err := oneEvening(path, os.Getenv(killURL), os.Getenv(killNow)); err != nil {
			fmt.Println("failed", err)
			os.Exit(1)
		}
		fmt.Println("done")
		return
	}
	os.Exit(m.Run())
}

// waves is weather that freezes by night and thaws by day.
type waves struct{}

func (waves) Ask(_ context.Context, _ *forecast.Site, now time.Time) (Answer, error) {
	s := weather.NewSeries(now.AddDate(0, 0, -5), 9*24)
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] = 1 - 7*math.Cos(2*math.Pi*(float64(s.Time(i).Hour())-8)/24)
	}
	return Answer{Bulletin: weather.Bulletin{Source: "waves", IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: math.NaN()}}, nil
}

func evenSettings(url string) Settings {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		panic(err)
	}
	person := func(id string) channel.Person {
		return channel.Person{ID: id, Role: "keeper", Reader: message.Reader{Language: "en", Units: units.US}, Ways: []channel.Way{{Channel: "text", To: id}}}
	}
	return Settings{
		Sites: []forecast.Site{{ID: "bush", Name: "Bush", Zone: zone, TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
			Place:  weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300},
			Groups: []forecast.Group{{ID: "pails", Taps: 50, Method: volume.Pail, ContainerL: 15}}}},
		People: []channel.Person{person("ann"), person("bob"), person("cy")}, Asker: waves{}, EveningAt: 18*time.Hour + 30*time.Minute, RefreshEvery: 3 * time.Hour, Thresholds: alerts.Usual,
		Channels: map[string]channel.Channel{"text": &channel.Gateway{GatewayOptions: channel.GatewayOptions{URL: url, JSON: `{"to":"{to}","text":"{text}","key":"{key}"}`}, Client: resty.New()}},
	}
}

// oneEvening starts the daemon at a moment and lets it do what is due.
func oneEvening(path, url, at string) error {
	now, err := time.Parse(time.RFC3339, at)
	if err != nil {
		return err
	}
	a, err := archive.Open(context.Background(), path)
	if err != nil {
		return err
	}
	d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"), PlaceKey: func(s *forecast.Site) string { return s.ID }}
	if err := d.Use(evenSettings(url), now); err != nil {
		return err
	}
	for range 3 {
		d.Step(context.Background(), now)
		now = now.Add(time.Minute)
	}
	return a.Close()
}

// Killed at random moments of the evening, three hundred times: every decision
// is made once, every message arrives, and one that arrives twice carries the
// same key.
func TestKilledInTheEvening(t *testing.T) {
	cycles := 300
	if testing.Short() {
		cycles = 30
	}
	if n, err := strconv.Atoi(os.Getenv("THAWLINE_CYCLES")); err == nil {
		cycles = n
	}
	type text struct{ To, Text, Key string }
	var mu sync.Mutex
	got := map[string][]string{} // key by person and words
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m text
		data, _ := io.ReadAll(r.Body)
		if err := json.Unmarshal(data, &m); err != nil {
			t.Error(err)
		}
		mu.Lock()
		defer mu.Unlock()
		got[m.Key] = append(got[m.Key], m.To)
	}))
	defer server.Close()
	path := filepath.Join(t.TempDir(), "d.db")
	rng := rand.New(rand.NewPCG(11, 12))
	evening := time.Date(2026, 3, 1, 18, 31, 0, 0, newYork(t))
	killed, nights := 0, 0
	start := func(limit time.Duration) bool {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), killFile+"="+path, killURL+"="+server.URL, killNow+"="+evening.Format(time.RFC3339))
		var out strings.Builder
		cmd.Stdout = &out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if limit > 0 {
			stop := time.AfterFunc(limit, func() { _ = cmd.Process.Kill() })
			defer stop.Stop()
		}
		_ = cmd.Wait() // killed, mostly
		if strings.Contains(out.String(), "failed") {
			t.Fatal(out.String())
		}
		return strings.Contains(out.String(), "done")
	}
	for killed < cycles {
		if start(time.Duration(5+rng.IntN(55)) * time.Millisecond) {
			evening, nights = evening.AddDate(0, 0, 1), nights+1
			continue
		}
		killed++
	}
	for !start(0) {
		t.Fatal("the last evening does not end")
	}
	a, err := archive.Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	list, err := ledger.New(a.DB()).Recent(context.Background(), 100000)
	if err != nil {
		t.Fatal(err)
	}
	perNight, doubles, messages := map[string]int{}, 0, 0
	for _, v := range list {
		if v.State != ledger.Sent {
			t.Errorf("%s to %s of %s is %s", v.Kind, v.Person, v.MadeAt, v.State)
		}
		key := v.ID
		if v.GoesWith != "" {
			key = v.GoesWith
		} else {
			doubles += len(got[key]) - 1
			messages++
		}
		if len(got[key]) == 0 {
			t.Errorf("%s to %s of %s never arrived", v.Kind, v.Person, v.MadeAt)
		}
		if v.Kind == alerts.Evening {
			perNight[v.MadeAt.Format(time.DateOnly)+v.Person]++
		}
	}
	if len(got) != messages {
		t.Errorf("%d keys arrived, %d messages are in the ledger", len(got), messages)
	}
	for night, n := range perNight {
		if n != 1 {
			t.Errorf("%s: %d evening texts decided", night, n)
		}
	}
	t.Logf("%d kills over %d evenings, %d messages, %d of them accepted twice under one key", killed, nights+1, messages, doubles)
}
