package daemon

import (
	"context"
	"encoding/json"
	"errors"
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
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

const (
	killFile = "THAWLINE_TEST_KILL_FILE"
	killURL  = "THAWLINE_TEST_KILL_URL"
	killNow  = "THAWLINE_TEST_KILL_NOW"
	// On a shared database: the holder's name, how far its machine's clock is off, and how
	// far the evenings lie from the server's time.
	killName  = "THAWLINE_TEST_KILL_NAME"
	killSkew  = "THAWLINE_TEST_KILL_SKEW"
	killShift = "THAWLINE_TEST_KILL_SHIFT"
	killRiver = "THAWLINE_TEST_KILL_RIVER" // drives the work there, if it is set
)

// TestMain lets the test's program be the process that TestKilledInTheEvening
// kills.
func TestMain(m *testing.M) {
	if path := os.Getenv(killFile); path != "" {
		evening := func() error { return oneEvening(path, os.Getenv(killURL), os.Getenv(killNow)) }
		if os.Getenv(killName) != "" {
			evening = func() error { return sharedEvening(path, os.Getenv(killURL), os.Getenv(killName)) }
		}
		if err := evening(); err != nil {
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

func (waves) Ask(_ context.Context, _ *forecast.Site, now time.Time) (forecast.Inputs, error) {
	s := weather.NewSeries(now.AddDate(0, 0, -5), 9*24)
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] = 1 - 7*math.Cos(2*math.Pi*(float64(s.Time(i).Hour())-8)/24)
	}
	return forecast.Inputs{Bulletin: weather.Bulletin{Source: "waves", IssuedAt: now.Add(-time.Hour), Course: s, ElevationM: math.NaN()}}, nil
}

func evenSettings(url string) Settings {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		panic(err)
	}
	person := func(id string) channel.Person {
		return channel.Person{ID: id, Role: "keeper", EachBush: true, Reader: message.Reader{Language: "en", Units: units.US},
			Ways: []channel.Way{{Channel: "text", To: id}}}
	}
	return Settings{
		Sites: []forecast.Site{{ID: "bush", Name: "Bush", Zone: zone, TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
			Place:  weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300},
			Groups: []forecast.Group{{ID: "pails", Taps: 50, Method: volume.Pail, ContainerL: 15}}}},
		People: []channel.Person{person("ann"), person("bob"), person("cy")}, Asker: waves{}, EveningAt: 18*time.Hour + 30*time.Minute,
		RefreshEvery: 3 * time.Hour, Thresholds: alerts.Usual,
		Channels: map[string]channel.Channel{"text": &channel.Gateway{GatewayOptions: channel.GatewayOptions{URL: url,
			JSON: `{"to":"{to}","text":"{text}","key":"{key}"}`}, Client: resty.New()}},
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
	d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"),
		PlaceKey: func(s *forecast.Site) string { return s.ID }}
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
	got, server := inbox(t)
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
	messages, doubles := audit(t, path, got)
	t.Logf("%d kills over %d evenings, %d messages, %d of them accepted twice under one key", killed, nights+1, messages, doubles)
}

// inbox is a gateway that notes who got what under which key.
func inbox(t *testing.T) (got *sync.Map, server *httptest.Server) {
	got = &sync.Map{} // by key, how often
	var mu sync.Mutex
	return got, httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m struct{ To, Text, Key string }
		data, _ := io.ReadAll(r.Body)
		if err := json.Unmarshal(data, &m); err != nil {
			t.Error(err)
		}
		mu.Lock()
		defer mu.Unlock()
		n, _ := got.LoadOrStore(m.Key, 0)
		got.Store(m.Key, n.(int)+1)
	}))
}

// audit holds what came against the ledger: all of it, decided once, and what came twice
// came under one key.
func audit(t *testing.T, where string, got *sync.Map) (messages, doubles int) {
	t.Helper()
	a, err := archive.Open(context.Background(), where)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	list, err := ledger.New(a.DB()).Recent(context.Background(), 100000)
	if err != nil {
		t.Fatal(err)
	}
	perNight := map[string]int{}
	for _, v := range list {
		if v.State != ledger.Sent {
			t.Errorf("%s to %s of %s is %s", v.Kind, v.Person, v.MadeAt, v.State)
		}
		key := v.ID
		if v.GoesWith != "" {
			key = v.GoesWith
		}
		n, came := got.Load(key)
		if !came {
			t.Errorf("%s to %s of %s never arrived", v.Kind, v.Person, v.MadeAt)
		}
		if v.GoesWith == "" && came {
			doubles += n.(int) - 1
			messages++
		}
		if v.Kind == alerts.Evening {
			perNight[v.MadeAt.Format(time.DateOnly)+v.Site+v.Person]++
		}
	}
	keys := 0
	got.Range(func(any, any) bool { keys++; return true })
	if keys != messages {
		t.Errorf("%d keys arrived, %d messages are in the ledger", keys, messages)
	}
	for night, n := range perNight {
		if n != 1 {
			t.Errorf("%s: %d evening texts decided", night, n)
		}
	}
	return messages, doubles
}

// sharedEvening is a daemon as it is in service, on a database that others use, on a
// machine whose clock is off: until all of the evening is told.
func sharedEvening(where, url, name string) error {
	skew, err1 := time.ParseDuration(os.Getenv(killSkew))
	shift, err2 := time.ParseDuration(os.Getenv(killShift))
	a, err3 := archive.Open(context.Background(), where)
	if err := errors.Join(err1, err2, err3); err != nil {
		return err
	}
	clock, err := engine.OpenClock(context.Background(), a.DB(), func() time.Time { return time.Now().Add(skew) })
	if err != nil {
		return err
	}
	now := func() time.Time { return clock.Now().Add(shift) }
	d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"),
		PlaceKey: func(s *forecast.Site) string { return s.ID }, Holder: name, Now: now, Pace: engine.Paces{DB: a.DB()},
		River: os.Getenv(killRiver) != "", ListenAt: a.ListenAddress()}
	return errors.Join(tellAll(d, url, 6), a.Close())
}

// tellAll runs a daemon until all bushes, so many beside one, are told of their evening.
func tellAll(d *Daemon, url string, more int) error {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	now := d.Now
	s := evenSettings(url)
	for i := range more {
		site := s.Sites[0]
		site.ID = fmt.Sprint("bush", i)
		s.Sites = append(s.Sites, site)
	}
	if err := d.Use(s, now()); err != nil {
		return err
	}
	ran := make(chan error, 1)
	go func() { ran <- d.Run(ctx) }()
	for told := false; !told; time.Sleep(20 * time.Millisecond) {
		d.Plan(ctx, now())
		left, err := d.Ledger.Due(ctx, now().Add(time.Hour), 1)
		told = err == nil && len(left) == 0
		for i := range s.Sites {
			done, err := d.Ledger.Done(ctx, s.Sites[i].ID, "evening", now().In(s.Sites[i].Zone).Format(time.DateOnly))
			told = told && err == nil && done
		}
	}
	cancel()
	return <-ran
}

// Two daemons on one PostgreSQL, on machines whose clocks are ten minutes apart, killed
// at random moments: nothing is lost, decided twice or sent twice but what a kill cut off.
// THAWLINE_CYCLES says how many kills.
func TestKilledSideBySideWithClocksApart(t *testing.T) {
	where := beside.Postgres(t)
	if where == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: several daemons are not killed")
	}
	cycles := 12
	if n, err := strconv.Atoi(os.Getenv("THAWLINE_CYCLES")); err == nil {
		cycles = n
	}
	got, server := inbox(t)
	defer server.Close()
	evening := time.Date(2026, 3, 1, 18, 31, 0, 0, newYork(t))
	var mu sync.Mutex
	killed, nights := 0, 0
	slowest := time.Duration(0)
	for killed < cycles || nights == 0 {
		shift := time.Until(evening).Round(time.Millisecond)
		var wait sync.WaitGroup
		for i, skew := range []string{"5m", "-5m"} {
			rng := rand.New(rand.NewPCG(uint64(nights), uint64(i)))
			wait.Go(func() {
				for {
					cmd := exec.Command(os.Args[0])
					cmd.Env = append(os.Environ(), killFile+"="+where, killURL+"="+server.URL, killName+"="+fmt.Sprint("daemon ", i),
						killSkew+"="+skew, killShift+"="+shift.String())
					var out strings.Builder
					cmd.Stdout = &out
					began := time.Now()
					if err := cmd.Start(); err != nil {
						t.Error(err)
						return
					}
					mu.Lock()
					over := killed >= cycles
					mu.Unlock()
					if !over {
						stop := time.AfterFunc(time.Duration(150+rng.IntN(1500))*time.Millisecond, func() { _ = cmd.Process.Kill() })
						defer stop.Stop()
					}
					_ = cmd.Wait() // killed, mostly
					if strings.Contains(out.String(), "failed") {
						t.Error(out.String())
						return
					}
					mu.Lock()
					if strings.Contains(out.String(), "done") {
						slowest = max(slowest, time.Since(began))
						mu.Unlock()
						return
					}
					killed++
					mu.Unlock()
				}
			})
		}
		wait.Wait()
		if t.Failed() {
			return
		}
		evening, nights = evening.AddDate(0, 0, 1), nights+1
	}
	messages, doubles := audit(t, where, got)
	if want := 7 * 3 * nights; messages < want {
		t.Errorf("%d messages, want %d at least", messages, want)
	}
	t.Logf("%d kills over %d evenings of two daemons, %d messages, %d of them accepted twice under one key; the slowest last start took %.1f s", killed, nights, messages, doubles, slowest.Seconds())
}
