package app

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
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
	"thawline/testdata"
)

// written is a file of the test's own.
func written(t *testing.T, name, text string) string {
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

// The whole program starts in this process, asks for weather, answers, and stops when it is
// told to: what it had open is closed, so that it can start again at once.
func TestStartAndStop(t *testing.T) {
	began := time.Now()
	weather := httptest.NewServer(testdata.Handler())
	defer weather.Close()
	text, err := testdata.Files.ReadFile("thawline.yaml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "thawline.yaml")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	env := []string{"THAWLINE_DATA_DIR=" + filepath.Join(dir, "data"), "THAWLINE_WEATHER_SOURCES=open_meteo", "THAWLINE_WEATHER_OPEN_METEO_BASE_URL=" + weather.URL}
	load := func() (*config.Config, error) { return config.Load(file, env) }
	for range 2 {
		settings, err := load()
		if err != nil {
			t.Fatal(err)
		}
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		log := &lockedLog{}
		ended := make(chan error, 1)
		a, err := Open(ctx, Env{Version: "test", Log: slog.New(slog.NewTextHandler(log, nil)), Clock: testdata.Now, Frozen: true}, settings, load)
		if err != nil {
			t.Fatal(err)
		}
		go func() { ended <- errors.Join(a.Run(ctx, listener), a.Close()) }()
		base := "http://" + listener.Addr().String()
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
		if answer(t, base+"/healthz") == "" {
			t.Error("not well")
		}
		if strings.Contains(log.String(), "level=ERROR") {
			t.Errorf("%s", log)
		}
		stop()
		if err := <-ended; err != nil {
			t.Errorf("stopped with %v", err)
		}
		if answer(t, base+"/healthz") != "" {
			t.Error("answers after its end")
		}
	}
}
