package source

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/sony/gobreaker/v2"
)

var nan = math.NaN()

// serve answers the n-th question with the n-th function, the last one for all
// after it.
func serve(t *testing.T, answers ...http.HandlerFunc) (address string, asked *int) {
	t.Helper()
	n := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n++
		answers[min(n, len(answers))-1](w, r)
	}))
	t.Cleanup(server.Close)
	return server.URL, &n
}

func status(code int) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(code) }
}

func ok(body string, header ...string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		for i := 0; i+1 < len(header); i += 2 {
			w.Header().Set(header[i], header[i+1])
		}
		_, _ = w.Write([]byte(body))
	}
}

func TestServerThatRecoversIsAskedAgain(t *testing.T) {
	address, asked := serve(t, status(500), status(429), ok("{}"))
	if _, err := newTestClient(t, nil).Get(context.Background(), "s", address, nil); err != nil || *asked != 3 {
		t.Errorf("%d questions: %v", *asked, err)
	}
}

func TestNothingIsAskedBeforeAnAnswerExpires(t *testing.T) {
	const stamp = "Fri, 20 Mar 2026 20:00:01 GMT"
	fresh := ok(`{"a":1}`, "Expires", time.Now().Add(time.Hour).UTC().Format(http.TimeFormat), "Last-Modified", stamp, "Date",
		time.Now().UTC().Format(http.TimeFormat))
	address, asked := serve(t, fresh)
	dir := t.TempDir()
	for range 2 { // a new client finds the answer on disk
		c := newTestClient(t, func(o *Options) { o.CacheDir = dir })
		for range 3 {
			r, err := c.Get(context.Background(), "s", address, nil)
			if err != nil || string(r.Body) != `{"a":1}` {
				t.Fatalf("%s: %v", r.Body, err)
			}
		}
	}
	if *asked != 1 {
		t.Errorf("asked %d times within the hour", *asked)
	}
}

func TestOnlyWhatChangedIsFetched(t *testing.T) {
	const stamp = "Fri, 20 Mar 2026 20:00:01 GMT"
	old := ok(`{"a":1}`, "Expires", "Fri, 20 Mar 2026 20:30:00 GMT", "Last-Modified", stamp, "Etag", `"x1"`)
	same := func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("If-Modified-Since") != stamp || r.Header.Get("If-None-Match") != `"x1"` {
			t.Errorf("asked with %q and %q", r.Header.Get("If-Modified-Since"), r.Header.Get("If-None-Match"))
		}
		w.WriteHeader(http.StatusNotModified)
	}
	address, asked := serve(t, old, same)
	c := newTestClient(t, nil)
	for range 2 {
		if r, err := c.Get(context.Background(), "s", address, nil); err != nil || string(r.Body) != `{"a":1}` {
			t.Fatalf("%s: %v", r.Body, err)
		}
	}
	if *asked != 2 {
		t.Errorf("asked %d times", *asked)
	}
}

func TestBreakerLeavesAFailingServiceAlone(t *testing.T) {
	address, asked := serve(t, status(503))
	c := newTestClient(t, func(o *Options) { o.Retries = -1; o.BreakerRest = 40 * time.Millisecond })
	var err error
	for range 6 {
		_, err = c.Get(context.Background(), "s", address, nil)
	}
	if *asked != 3 || err == nil || err.Error() != "s: failed several times in a row and is left alone for 40ms" {
		t.Errorf("%d questions: %v", *asked, err)
	}
	time.Sleep(60 * time.Millisecond)
	if _, err = c.Get(context.Background(), "s", address, nil); *asked != 4 {
		t.Errorf("not tried again after its rest: %v", err)
	}
}

func TestClientFaults(t *testing.T) {
	cases := []struct {
		name   string
		answer http.HandlerFunc
		asked  int
		want   string
	}{
		{"not found", func(w http.ResponseWriter, _ *http.Request) {
			say(w, 404, "application/problem+json",
				`{"title":"Not Found","type":"https://api.weather.gov/problems/NotFound","detail":"No such point"}`)
		}, 1, "s: answered 404 (Not Found: No such point)"},
		{"forbidden", status(403), 1, "s: answered 403 (Forbidden); set weather.contact to an e-mail or web address at which you can be reached"},
		{"expired grid", func(w http.ResponseWriter, _ *http.Request) {
			say(w, 503, "application/problem+json",
				`{"title":"Forecast Grid Expired","type":"https://api.weather.gov/problems/ForecastGridExpired","detail":"…"}`)
		}, 1, "s: its forecast for this place has expired and no new one is out"},
		{"daily limit", func(w http.ResponseWriter, _ *http.Request) {
			say(w, 429, "application/json", `{"error":true,"reason":"Daily API request limit exceeded. Please try again tomorrow."}`)
		}, 1, "s: answered 429 (Daily API request limit exceeded. Please try again tomorrow.); it asks for fewer questions"},
		{"minutely limit", func(w http.ResponseWriter, _ *http.Request) {
			say(w, 429, "application/json",
				`{"error":true,"reason":"Minutely API request limit exceeded. Please try again in one minute."}`)
		}, 3, "s: answered 429 (Minutely API request limit exceeded. Please try again in one minute.); it asks for fewer questions"},
		{"long Retry-After", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Retry-After", "3600")
			w.WriteHeader(429)
		}, 1, "s: answered 429 (Too Many Requests); it asks to wait 1h0m0s"},
		{"error with 200", ok(`{"error":true,"reason":"No data is available for this location"}`), 1,
			"s: refused: No data is available for this location"},
		{"HTML", ok("\n<!doctype html><title>Sign in</title>"), 1,
			"s: a web page instead of data (Sign in); check its base_url, and whether this network asks for a login"},
		{"too big", ok(strings.Repeat(" ", 5000)), 1, "s: an answer of more than 4000 bytes; check its base_url"},
		{"broken off", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Length", "1000")
			_, _ = w.Write([]byte("{"))
		}, 3, "s: the answer broke off; check the internet connection"},
		{"no content", status(204), 1, "s: answered 204 (No Content)"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			address, asked := serve(t, c.answer)
			_, err := newTestClient(t, func(o *Options) { o.MaxBytes = 4000 }).Get(context.Background(), "s", address, nil)
			if err == nil || err.Error() != c.want || *asked != c.asked {
				t.Errorf("asked %d times, want %d\ngot  %v\nwant %s", *asked, c.asked, err, c.want)
			}
			var f *Fault
			if !errors.As(err, &f) {
				t.Errorf("%T is no fault", err)
			}
		})
	}
}

func TestKeysStayOutOfErrors(t *testing.T) {
	c := newTestClient(t, func(o *Options) { o.Retries = -1 })
	_, err := c.Get(context.Background(), "s", "http://127.0.0.1:1/v1", url.Values{"apikey": {"secret-key"}})
	if err == nil || strings.Contains(fmt.Sprintf("%v", err), "secret-key") {
		t.Errorf("%v", err)
	}
}

func TestCacheFolderThatCannotBe(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := NewClient(Options{CacheDir: filepath.Join(file, "cache")})
	if err == nil || !strings.Contains(err.Error(), "make it writable or set data_dir to one that is") {
		t.Errorf("%v", err)
	}
}

func TestAnImpatientCallerIsNotKept(t *testing.T) {
	address, _ := serve(t, func(w http.ResponseWriter, _ *http.Request) { time.Sleep(200 * time.Millisecond); w.WriteHeader(500) })
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Millisecond)
	defer cancel()
	began := time.Now()
	if _, err := newTestClient(t, nil).Get(ctx, "s", address, nil); err == nil || time.Since(began) > 150*time.Millisecond {
		t.Errorf("after %s: %v", time.Since(began), err)
	}
}

func TestAnswersMayBeCompressed(t *testing.T) {
	address, _ := serve(t, func(w http.ResponseWriter, r *http.Request) {
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
			t.Errorf("Accept-Encoding is %q", r.Header.Get("Accept-Encoding"))
		}
		w.Header().Set("Content-Encoding", "gzip")
		z := gzip.NewWriter(w)
		_, _ = z.Write([]byte(`{"a":1}`))
		_ = z.Close()
	})
	if r, err := newTestClient(t, nil).Get(context.Background(), "s", address, nil); err != nil || string(r.Body) != `{"a":1}` {
		t.Errorf("%s: %v", r.Body, err)
	}
}

func TestRetryAfterInBothForms(t *testing.T) {
	now := time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	for text, want := range map[string]time.Duration{
		"120": 2 * time.Minute, "Fri, 20 Mar 2026 21:05:00 GMT": 5 * time.Minute, // RFC 9110, 10.2.3
		"Fri, 20 Mar 2026 20:05:00 GMT": 0, "-3": 0, "soon": 0, "": 0,
	} {
		if got := retryAfter(http.Header{"Retry-After": {text}}, now); got != want {
			t.Errorf("%q: %s, want %s", text, got, want)
		}
	}
}

// A service that asks to wait a little gets its time.
func TestShortRetryAfterIsObeyed(t *testing.T) {
	var at []time.Time
	address, _ := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		at = append(at, time.Now())
		w.Header().Set("Retry-After", "1")
		w.WriteHeader(http.StatusServiceUnavailable)
	}, func(w http.ResponseWriter, r *http.Request) {
		at = append(at, time.Now())
		ok("{}")(w, r)
	})
	c := newTestClient(t, func(o *Options) { o.MaxWait = 2 * time.Second })
	if _, err := c.Get(context.Background(), "s", address, nil); err != nil || len(at) != 2 || at[1].Sub(at[0]) < 950*time.Millisecond {
		t.Errorf("asked at %v: %v", at, err)
	}
}

// Stations that fail keep nobody from the forecast: it has a breaker of its own.
func TestStationsDoNotTripTheForecast(t *testing.T) {
	address, _ := serve(t, status(503))
	c := newTestClient(t, func(o *Options) { o.Retries, o.Contact = -1, "a@example.org" })
	n := NewNWS(c, NWSOptions{BaseURL: address})
	for range 6 {
		if _, err := n.observed(context.Background(), nwsCell{"ALY/1,1", "America/New_York"}, time.Now().Add(-24*time.Hour),
			time.Now()); err == nil {
			t.Fatal("observations out of nothing")
		}
	}
	if forecast, stations := c.breaker(NWSName).State(), c.breaker(nwsStations).State(); forecast != gobreaker.StateClosed ||
		stations != gobreaker.StateOpen {
		t.Errorf("breakers of the forecast %v, of stations %v", forecast, stations)
	}
}

// A service's answer leads nowhere but to the service: not to others, not to what only
// this machine's network reaches, and not to another port of the same machine.
func TestRedirectsStayWithTheService(t *testing.T) {
	private, asked := serve(t, ok("{}"))
	here, _ := serve(t, func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/moved":
			w.Header().Set("Location", "/now?a=1")
		case "/now":
			_, _ = w.Write([]byte(`{"a":1}`))
			return
		case "/round":
			w.Header().Set("Location", "/round")
		case "/away":
			w.Header().Set("Location", r.URL.Query().Get("to"))
		}
		w.WriteHeader(http.StatusFound)
	})
	get := func(path string, query url.Values) error {
		_, err := newTestClient(t, func(o *Options) { o.Retries = -1 }).Get(context.Background(), "s", here+path, query)
		return err
	}
	if err := get("/moved", nil); err != nil {
		t.Errorf("within the service: %v", err)
	}
	if err := get("/round", nil); err == nil {
		t.Error("round and round")
	}
	for _, to := range []string{private, strings.Replace(private, "127.0.0.1", "localhost", 1),
		strings.Replace(here, "127.0.0.1", "localhost", 1) + "/now", "//" + strings.TrimPrefix(private, "http://") + "/x",
		"https" + strings.TrimPrefix(here, "http") + "/now", "file:///etc/passwd"} {
		var f *Fault
		if err := get("/away", url.Values{"to": {to}}); !errors.As(err, &f) {
			t.Errorf("led to %s: %v", to, err)
		}
	}
	if *asked != 0 {
		t.Errorf("another server was asked %d times", *asked)
	}
	for _, c := range []struct {
		from, to string
		follow   bool
	}{
		{"https://api.example.org/a", "https://api.example.org/b", true}, {"http://api.example.org/a", "https://api.example.org/a", true},
		{"https://api.example.org/a", "http://api.example.org/a", false},
		{"https://api.example.org/a", "http://169.254.169.254/latest", false},
		{"https://api.example.org/a", "https://api.example.org:8443/a", false},
		{"https://api.example.org/a", "https://example.org/a", false}, {"https://api.example.org/a", "https://[fe80::1]/a", false},
	} {
		from, _ := http.NewRequest("GET", c.from, nil)
		to, _ := http.NewRequest("GET", c.to, nil)
		if err := ownHost(to, []*http.Request{from}); (err == nil) != c.follow {
			t.Errorf("%s to %s: %v", c.from, c.to, err)
		}
	}
}
