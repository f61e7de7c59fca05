package web_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/demo"
	"thawline/config"
)

// pages are the demonstration's pages without a socket.
type pages struct {
	t       testing.TB
	h       *app.App
	handler http.Handler
	asked   int
	network string // that askers come from
	lang    string // of who brings a notebook
}

// demoSeason is the file of a demonstration that has lived through its days.
var demoSeason = sync.OnceValues(func() ([]byte, error) {
	settings, err := demo.Settings()
	if err != nil {
		return nil, err
	}
	settings.Serve.Listen = "127.0.0.1:8787"
	dir, err := os.MkdirTemp("", "thawline-demo")
	if err != nil {
		return nil, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	h, err := demo.New(context.Background(), app.Env{Version: "test", Log: slog.New(slog.DiscardHandler)}, settings, dir, demoDays())
	if err != nil {
		return nil, err
	}
	if err := h.Archive.Close(); err != nil {
		return nil, err
	}
	return os.ReadFile(filepath.Join(dir, app.ArchiveFile))
})

func demoDays() int {
	if testing.Short() {
		return 2
	}
	return demo.Days
}

func demoPages(t testing.TB, change func(*config.Config)) *pages {
	t.Helper()
	settings, err := demo.Settings()
	if err != nil {
		t.Fatal(err)
	}
	settings.Serve.Listen = "127.0.0.1:8787"
	if change != nil {
		change(settings)
	}
	dir, days := t.TempDir(), demoDays()
	if change == nil { // as it is: lived through once for all tests
		season, err := demoSeason()
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, app.ArchiveFile), season, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		days = 0
	}
	h, err := demo.New(t.Context(), app.Env{Version: "test", Log: slog.New(slog.DiscardHandler)}, settings, dir, days)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Archive.Close() })
	p := &pages{t: t, h: h, handler: h.Handler(), network: "127.0"}
	if s := app.AuthSettings(settings); s.NeedsLogin() {
		p.network = "192.0"
	}
	return p
}

// from lets each request come from an address of its own: how fast one may ask is
// tested elsewhere.
func (p *pages) from(r *http.Request) {
	p.asked++
	r.RemoteAddr = fmt.Sprintf("%s.%d.%d:1", p.network, p.asked/250%250, p.asked%250)
}

func (p *pages) ask(method, path string, form url.Values, headers ...string) *httptest.ResponseRecorder {
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r := httptest.NewRequest(method, "http://127.0.0.1:8787"+path, body)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	r.Header.Set("Accept", "text/html")
	p.from(r)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	p.handler.ServeHTTP(w, r)
	return w
}

func (p *pages) must(want int, method, path string, form url.Values, headers ...string) string {
	p.t.Helper()
	w := p.ask(method, path, form, headers...)
	if w.Code != want {
		p.t.Errorf("%s %s: %d, not %d\n%.400s", method, path, w.Code, want, w.Body)
	}
	return w.Body.String()
}

// lookedBack are pages of the bush that an address turns to another time.
var lookedBack = []string{"/flow?season=2024", "/flow?from=2026-03-01&days=30", "/season?season=2023", "/records?season=2024",
	"/review?season=2023"}

// sitePages are the pages of the bush below a base path: all that the routes have and phones
// keep, and those of another time.
func (p *pages) sitePages(base string, headers ...string) []string {
	p.t.Helper()
	var kept, out []string
	if err := json.Unmarshal([]byte(p.must(200, "GET", base+"/pages.json", nil, headers...)), &kept); err != nil {
		p.t.Fatal(err)
	}
	for _, at := range kept {
		if strings.HasPrefix(at, base+"/site/kettle") {
			out = append(out, at)
		}
	}
	if len(out) < 14 {
		p.t.Fatalf("phones keep %q: bushPages (offline.go) lost routes", out)
	}
	for _, at := range lookedBack {
		out = append(out, base+"/site/kettle"+at)
	}
	return out
}

// Every page in both languages and all units, under its strict policy, without a
// word left in the other language, and light.
func TestEveryPage(t *testing.T) {
	p := demoPages(t, nil)
	for _, at := range p.sitePages("") {
		for _, lang := range []string{"en", "fr"} {
			for _, system := range []string{"us", "imperial", "metric"} {
				join := "?"
				if strings.Contains(at, "?") {
					join = "&"
				}
				w := p.ask("GET", at+join+"lang="+lang+"&units="+system, nil, "Accept-Encoding", "gzip")
				if w.Code != 200 {
					t.Errorf("%s %s %s: %d", at, lang, system, w.Code)
					continue
				}
				if n := w.Body.Len(); n > 60_000 {
					t.Errorf("%s weighs %d bytes", at, n)
				}
				z, err := gzip.NewReader(w.Body)
				if err != nil {
					t.Fatal(err)
				}
				data, err := io.ReadAll(z)
				if err != nil {
					t.Fatal(err)
				}
				body := string(data)
				if !strings.Contains(body, `<html lang="`+lang+`" dir="ltr">`) {
					t.Errorf("%s is not in %s: end its handler with send, or name it in notKept (offline.go) if it is no page to read", at, lang)
				}
				for _, no := range []string{"<no value>", "{{", "NaN", "Inf", "style=", "onclick", `src="http`, "<script>"} {
					if strings.Contains(body, no) {
						t.Errorf("%s %s %s holds %q", at, lang, system, no)
					}
				}
				if key := regexp.MustCompile(`>(?:[a-z]+_)+[a-z]+<`).FindString(body); key != "" {
					t.Errorf("%s %s: a key without words: %s", at, lang, key)
				}
				if policy := w.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") ||
					strings.Contains(policy, "unsafe") {
					t.Errorf("%s: %s", at, policy)
				}
			}
		}
	}
	p.must(404, "GET", "/site/none", nil)
	p.must(404, "GET", "/site/kettle/none", nil)
	p.must(404, "GET", "/none", nil)
	if w := p.ask("GET", "/site/kettle/flow.png?from=2024-03-10&days=10", nil); w.Code != 200 ||
		!bytes.HasPrefix(w.Body.Bytes(), []byte("\x89PNG")) {
		t.Errorf("%d %.20s", w.Code, w.Body)
	}
	if w := p.ask("GET", "/site/kettle/flow.csv?from=2024-03-10&days=2", nil); w.Code != 200 ||
		!strings.HasPrefix(w.Body.String(), "time,temperature_c_p10,") || strings.Count(w.Body.String(), "\n") < 40 {
		t.Errorf("%d %.200s", w.Code, w.Body)
	}
	if page := p.ask("GET", "/site/kettle/flow?from=2024-03-10&days=3&other=1800", nil).Body.String(); strings.Count(page,
		"days=1&amp;from=") != 3 || !strings.Contains(page, "flow.csv?from=2024-03-10") || strings.Contains(page, "same days of") {
		t.Error("a day of three is not a link away, or a year that is not kept is laid below")
	}
	for _, odd := range []string{"?from=1700-01-01", "?from=9999-01-01&days=9999", "?season=99999", "?from=%00&days=-1", "?season=2010"} {
		p.must(200, "GET", "/site/kettle/flow"+odd, nil)
	}
}

// The first load of the outlook, with all that the page asks for, over the wire.
func TestFirstLoadIsLight(t *testing.T) {
	p := demoPages(t, nil)
	w := p.ask("GET", "/site/kettle", nil)
	sum := 0
	asked := append([]string{"/site/kettle"},
		regexp.MustCompile(`(?:href|src)="(/[^"]+\.(?:css|js|svg|webmanifest)[^"]*)"`).FindAllString(w.Body.String(), -1)...)
	for _, what := range asked {
		path := what[strings.Index(what, "/"):]
		z := p.ask("GET", strings.Trim(path, `"`), nil, "Accept-Encoding", "gzip")
		if z.Code != 200 {
			t.Errorf("%s: %d", path, z.Code)
		}
		sum += z.Body.Len()
	}
	t.Logf("%d files, %d bytes", len(asked), sum)
	if len(asked) < 5 || sum > 30_000 {
		t.Errorf("%d files, %d bytes: more than an old phone should wait for", len(asked), sum)
	}
}

// What people write stays text: in names of bush and groups, notes, file names,
// addresses.
func TestHostileWords(t *testing.T) {
	const script = `"><script>alert(1)</script><img src=x onerror=alert(1)>`
	p := demoPages(t, func(c *config.Config) {
		c.Sites[0].Name = script
		c.Sites[0].Groups[0].Name = script
		c.People[0].Name = script
	})
	p.must(303, "POST", "/site/kettle/entries",
		url.Values{"key": {"hostile-1"}, "group": {"ridge"}, "volume": {"3"}, "note": {script + "\r\nSet-Cookie: a=b"}})
	for _, at := range append([]string{"/status", "/people", "/site/" + url.PathEscape(script)}, p.sitePages("")...) {
		w := p.ask("GET", at, nil)
		if s := w.Body.String(); strings.Contains(s, "<script>alert") || strings.Contains(s, "<img") {
			t.Errorf("%s runs what somebody wrote", at)
		}
	}
	if s := p.must(200, "GET", "/site/kettle/records", nil); !strings.Contains(s, "&lt;script&gt;alert") ||
		strings.Contains(s, "\nSet-Cookie") {
		t.Errorf("the note is not there as it was written")
	}
	if s := p.must(200, "GET", "/site/kettle?lang=%22%3E%3Cscript%3E&units=x&done=done_%3Cscript%3E", nil); strings.Contains(s,
		"<script>") {
		t.Error("the address runs")
	}
	w := p.ask("GET", "/site/kettle?lang=fr%0d%0aSet-Cookie:%20a=b", nil)
	if strings.Contains(fmt.Sprint(w.Header()), "a=b") {
		t.Error(w.Header())
	}
}

// A picture that can't be made for a fault of the database is not called missing.
func TestPictureWithoutDatabase(t *testing.T) {
	p := demoPages(t, nil)
	if err := p.h.Archive.Close(); err != nil {
		t.Fatal(err)
	}
	p.must(500, "GET", "/site/kettle/flow.png", nil)
}
