package source

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestDeadServerIsNotHiddenByTheCache(t *testing.T) {
	address, _ := serve(t, ok(`{"a":1}`, "Cache-Control", "max-age=0, stale-if-error=86400", "Etag", `"x"`), status(503))
	c := newTestClient(t, nil)
	if _, err := c.Get(context.Background(), "s", address, nil); err != nil {
		t.Fatal(err)
	}
	if r, err := c.Get(context.Background(), "s", address, nil); err == nil {
		t.Errorf("an old answer passed for a new one: %s", r.Body)
	}
}

func TestAnswersOfNoUseAreNotKept(t *testing.T) {
	for name, useless := range map[string]http.HandlerFunc{
		"server error": status(500), "not found": status(404),
		"web page": ok("<title>Sign in</title>"), "error with 200": ok(`{"error":true,"reason":"No data"}`),
	} {
		t.Run(name, func(t *testing.T) {
			address, asked := serve(t, func(w http.ResponseWriter, r *http.Request) {
				w.Header().Set("Cache-Control", "max-age=600")
				useless(w, r)
			}, ok("{}"))
			c := newTestClient(t, func(o *Options) { o.Retries = -1 })
			if _, err := c.Get(context.Background(), "s", address, nil); err == nil {
				t.Fatal("no fault")
			}
			if _, err := c.Get(context.Background(), "s", address, nil); err != nil || *asked != 2 {
				t.Errorf("asked %d times: %v", *asked, err)
			}
		})
	}
}

func TestAnswerCutShortOnDiskIsFetchedAgain(t *testing.T) {
	const body = `{"a":1,"b":2}`
	address, asked := serve(t, ok(body, "Cache-Control", "max-age=600"))
	dir := t.TempDir()
	get := func() (Reply, error) {
		return newTestClient(t, func(o *Options) { o.CacheDir = dir }).Get(context.Background(), "s", address, nil)
	}
	if _, err := get(); err != nil {
		t.Fatal(err)
	}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		return os.Truncate(path, info.Size()-6)
	})
	if err != nil {
		t.Fatal(err)
	}
	if r, err := get(); err != nil || string(r.Body) != body || *asked != 2 {
		t.Errorf("asked %d times: %q, %v", *asked, r.Body, err)
	}
}

func TestKeptAnswerSaysWhenItCame(t *testing.T) {
	came := time.Now().Add(-20 * time.Minute).UTC().Truncate(time.Second)
	address, _ := serve(t, ok("{}", "Cache-Control", "max-age=3600", "Date", came.Format(http.TimeFormat)))
	c := newTestClient(t, nil)
	for _, kept := range []bool{false, true} {
		r, err := c.Get(context.Background(), "s", address, nil)
		if err != nil || r.FromCache != kept || kept && !r.ReceivedAt.Equal(came) {
			t.Errorf("kept %t, received %s, want %s: %v", r.FromCache, r.ReceivedAt, came, err)
		}
	}
}

func TestAddressThatCannotBeUsed(t *testing.T) {
	_, err := newTestClient(t, nil).Get(context.Background(), "s", "http://example.org:x/", nil)
	const want = `s: its address can't be used (invalid port ":x" after host); check its base_url`
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestBusyServerSaysHowLong(t *testing.T) {
	address, asked := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Retry-After", "3600")
		w.WriteHeader(http.StatusServiceUnavailable)
	})
	_, err := newTestClient(t, nil).Get(context.Background(), "s", address, nil)
	if *asked != 1 || err == nil || !strings.HasSuffix(err.Error(), "it asks to wait 1h0m0s") {
		t.Errorf("asked %d times: %v", *asked, err)
	}
}

func TestEveryTryIsLoggedAndNoKeyIs(t *testing.T) {
	var lines bytes.Buffer
	log := slog.New(slog.NewTextHandler(&lines, &slog.HandlerOptions{Level: slog.LevelDebug}))
	c := newTestClient(t, func(o *Options) { o.Log = log })
	_, err := c.Get(context.Background(), "s", "http://127.0.0.1:1/v1?apikey=secret-key", nil)
	if err == nil || strings.Contains(errors.Unwrap(err).Error()+lines.String(), "secret-key") {
		t.Errorf("%v, cause %v\n%s", err, errors.Unwrap(err), lines.String())
	}
	if n := strings.Count(lines.String(), "asked in vain"); n != 3 {
		t.Errorf("%d lines for 3 tries:\n%s", n, lines.String())
	}
}

// A question for the past up to now is another one each time: its answer is not kept,
// or the folder would grow all season.
func TestQuestionsThatAreAskedOnceAreNotKept(t *testing.T) {
	address, asked := serve(t, ok("{}", "Cache-Control", "max-age=600"))
	dir := t.TempDir()
	c := newTestClient(t, func(o *Options) { o.CacheDir = dir })
	for range 3 {
		if _, err := c.GetOnce(context.Background(), "s", 1, address, nil); err != nil {
			t.Fatal(err)
		}
	}
	if files, err := os.ReadDir(dir); err != nil || len(files) > 0 || *asked != 3 {
		t.Errorf("%d files after %d questions: %v", len(files), *asked, err)
	}
}
