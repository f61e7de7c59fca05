package app

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/config"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/testdata"
)

// written is a file of the test's own.
func written(t testing.TB, name, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// lockedLog takes the log of a running program.
type lockedLog struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedLog) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedLog) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// answer is what an address of the program says, "" while nobody answers.
func answer(t *testing.T, url string) string {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		return ""
	}
	defer func() { _ = got.Body.Close() }()
	body, err := io.ReadAll(got.Body)
	if err != nil || got.StatusCode != http.StatusOK {
		return ""
	}
	return string(body)
}

// demonstrated are the settings of the demonstration, in a folder of the test's own, with
// services that answer from files.
func demonstrated(t *testing.T, more ...string) (load func() (*config.Config, error)) {
	t.Helper()
	weather := httptest.NewServer(testdata.Handler())
	t.Cleanup(weather.Close)
	text, err := testdata.Files.ReadFile("thawline.yaml")
	if err != nil {
		t.Fatal(err)
	}
	file := written(t, "thawline.yaml", string(text))
	env := append([]string{"THAWLINE_DATA_DIR=" + filepath.Join(filepath.Dir(file), "data"), "THAWLINE_WEATHER_SOURCES=open_meteo",
		"THAWLINE_WEATHER_OPEN_METEO_BASE_URL=" + weather.URL}, more...)
	return func() (*config.Config, error) { return config.Load(file, env) }
}

// inProcess is the whole program in this process, once it has made its first outlook.
func inProcess(t *testing.T, env Env, load func() (*config.Config, error)) (a *App, base string, log *lockedLog, stop func() error) {
	t.Helper()
	settings, err := load()
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	log = &lockedLog{}
	env.Log = slog.New(slog.NewTextHandler(log, nil))
	if a, err = Open(ctx, env, settings, load); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- errors.Join(a.Run(ctx, listener), a.Close()) }()
	base = "http://" + listener.Addr().String()
	began := time.Now()
	for figures := ""; !strings.Contains(figures, "thawline_run_probability_ratio{"); figures = answer(t, base+"/metrics") {
		select {
		case err := <-ended:
			t.Fatalf("ended by itself: %v\n%s", err, log)
		case <-time.After(5 * time.Millisecond):
		}
		if time.Since(began) > 30*time.Second {
			t.Fatalf("no outlook was made\n%s", log)
		}
	}
	return a, base, log, func() error {
		cancel()
		return <-ended
	}
}

// The whole program starts in this process, asks for weather, answers, and stops when it is
// told to: what it had open is closed, so that it can start again at once.
func TestStartAndStop(t *testing.T) {
	load := demonstrated(t)
	for range 2 {
		_, base, log, stop := inProcess(t, Env{Version: "test", Clock: testdata.Now, Frozen: true}, load)
		if answer(t, base+"/healthz") == "" {
			t.Error("not well")
		}
		if strings.Contains(log.String(), "level=ERROR") {
			t.Errorf("%s", log)
		}
		if err := stop(); err != nil {
			t.Errorf("stopped with %v", err)
		}
		if answer(t, base+"/healthz") != "" {
			t.Error("answers after its end")
		}
	}
}

// Whatever way a record comes in, the next thing that anybody asks for knows of it: over
// the API, by a form, by a text, and by the command of another process within a tick.
func TestRecordsAreKnownAtOnce(t *testing.T) {
	load := demonstrated(t)
	a, base, log, stop := inProcess(t, Env{Version: "test", Clock: testdata.Now, Frozen: true}, load)
	defer func() {
		if err := stop(); err != nil {
			t.Errorf("stopped with %v", err)
		}
		if strings.Contains(log.String(), "level=ERROR") {
			t.Errorf("%s", log)
		}
	}()
	since := func() map[string]string {
		var o struct {
			Work struct {
				Groups []struct {
					Group      string `json:"group"`
					SinceVisit string `json:"since_visit"`
				} `json:"groups"`
			} `json:"work"`
		}
		if err := json.Unmarshal([]byte(answer(t, base+"/api/v1/sites/kettle/outlook")), &o); err != nil {
			t.Fatal(err)
		}
		by := map[string]string{}
		for _, f := range o.Work.Groups {
			by[f.Group] = f.SinceVisit
		}
		return by
	}
	at := testdata.Now().Add(-time.Minute)
	post := func(path, kind, body string) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, base+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", kind)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		got, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer got.Body.Close()
		if got.StatusCode >= 400 {
			said, _ := io.ReadAll(got.Body)
			t.Fatalf("%s: %d %.500s", path, got.StatusCode, said)
		}
	}
	for _, way := range []struct {
		name, group string
		within      time.Duration
		write       func()
	}{
		{"API", "ridge", 2 * time.Second, func() {
			post("/api/v1/sites/kettle/records", "application/json",
				fmt.Sprintf(`{"records":[{"group":"ridge","collected_at":%q,"volume_l":180}]}`, at.Format(time.RFC3339)))
		}},
		{"form", "hollow", 2 * time.Second, func() {
			post("/site/kettle/entries", "application/x-www-form-urlencoded", "key=at-once-1&group=hollow&volume=20&units=us")
		}},
		{"another process", "lane", 2 * tick, func() {
			settings, err := load()
			if err != nil {
				t.Fatal(err)
			}
			other, err := archive.Open(t.Context(), filepath.Join(settings.DataDir, ArchiveFile))
			if err != nil {
				t.Fatal(err)
			}
			defer other.Close()
			v := records.Visit{Site: "kettle", Group: "lane", CollectedAt: at, Taps: 140, VolumeL: 300, BrixPct: math.NaN()}
			if _, err := other.PutVisits(t.Context(), []records.Visit{v}, "wren", at); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		before := since()[way.group]
		began := time.Now()
		way.write()
		for since()[way.group] == before {
			if time.Since(began) > way.within {
				t.Errorf("%s: not known after %s", way.name, way.within)
				break
			}
			time.Sleep(5 * time.Millisecond)
		}
		t.Logf("%s: known after %s", way.name, time.Since(began).Round(time.Millisecond))
	}
	if a.Daemon.Behind(t.Context(), "kettle") {
		t.Error("behind")
	}
}
