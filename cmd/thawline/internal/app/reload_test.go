package app

import (
	"context"
	"log/slog"
	"net"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"thawline/config"
)

// running is a daemon that can be given other settings, without a socket that is
// really open.
type running struct {
	t    *testing.T
	file string
	env  Env
	h    *App
}

const hillOnly = "sites: [{id: hill, latitude: 44.62, longitude: -72.31, zone: America/New_York, groups: [{id: pails, taps: 50, collected_by: pail, container: 15L}]}]\n"

func runningOn(t *testing.T, text string) *running {
	t.Helper()
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	now := time.Date(2026, 3, 20, 22, 31, 0, 0, time.UTC)
	r := &running{t: t, file: written(t, "thawline.yaml", text),
		env: Env{Version: "test", Log: slog.New(slog.DiscardHandler), Clock: func() time.Time { return now }, Frozen: true}}
	load := func() (*config.Config, error) { return config.Load(r.file, os.Environ()) }
	settings, err := load()
	if err != nil {
		t.Fatal(err)
	}
	if r.h, err = Open(t.Context(), r.env, settings, load); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.h.Close() })
	to, err := net.ResolveTCPAddr("tcp", settings.Serve.Listen)
	if err != nil {
		t.Fatal(err)
	}
	r.h.Auth.Bound(to)
	return r
}

// reload gives the file another text and says what is wrong with that, "" if it is
// used.
func (r *running) reload(text string) (fault string) {
	r.t.Helper()
	if err := os.WriteFile(r.file, []byte(text), 0o600); err != nil {
		r.t.Fatal(err)
	}
	r.h.reload(context.Background(), true)
	_, fault = r.h.Daemon.Standings()
	return fault
}

func (r *running) get(path, peer string) (int, string) {
	q := httptest.NewRequest("GET", "http://localhost:8787"+path, nil)
	q.RemoteAddr = peer
	w := httptest.NewRecorder()
	r.h.Handler().ServeHTTP(w, q)
	return w.Code, w.Body.String()
}

const neighbour, thisMachine = "192.168.1.50:50000", "127.0.0.1:50000"

// Settings that would open the pages to whoever is in reach, or that the socket
// can't follow, are refused, and the old ones go on.
func TestReloadOpensNoDoors(t *testing.T) {
	const wide = hillOnly + "people: [{id: wren, role: keeper}]\n"
	for name, c := range map[string]struct{ before, after, want string }{
		"to this machine alone": {wide + `serve: {listen: "0.0.0.0:8787"}`, wide + `serve: {listen: "127.0.0.1:8787"}`,
			"serve.listen: 127.0.0.1:8787 instead of 0.0.0.0:8787: the address can't change while thawline runs; put it back, or restart thawline"},
		"cut before serve": {wide + `serve: {listen: "0.0.0.0:8787"}`, wide, "serve.listen: 127.0.0.1:8787 instead of 0.0.0.0:8787"},
		"another port": {wide + `serve: {listen: "127.0.0.1:8787", login: always}`,
			wide + `serve: {listen: "127.0.0.1:8788", login: always}`, "serve.listen: 127.0.0.1:8788"},
		"link gone": {wide + `serve: {link: "https://bush.example.org"}`, wide,
			"serve.link: nobody would have to log in any more, and that can't change while thawline runs; put back what was there, or restart thawline"},
		"login gone": {wide + `serve: {login: always}`, wide + `serve: {login: auto}`,
			"serve.login: nobody would have to log in"},
		"both gone": {wide + `serve: {login: always, link: "https://bush.example.org"}`, wide,
			"serve.link, serve.login: nobody would have to log in"},
		"everything gone": {wide + `serve: {login: always, listen: "0.0.0.0:8787", link: "https://bush.example.org"}`, wide,
			"serve.listen: "},
	} {
		t.Run(name, func(t *testing.T) {
			r := runningOn(t, c.before)
			if code, _ := r.get("/people", neighbour); code != 401 {
				t.Errorf("before: got %d, want 401", code)
			}
			if fault := r.reload(c.after); !strings.Contains(fault, c.want) {
				t.Errorf("got %q, want %q", fault, c.want)
			}
			if code, _ := r.get("/people", neighbour); code != 401 {
				t.Errorf("after: got %d, want 401", code)
			}
			if _, said := r.get("/readyz", thisMachine); !strings.Contains(said, c.want) {
				t.Errorf("/readyz says %q, want %q", said, c.want)
			}
			if fault := r.reload(c.before); fault != "" {
				t.Errorf("what was there before: %s", fault)
			}
		})
	}
	// What asks for more logins, or leaves them as they are, is taken.
	r := runningOn(t, wide)
	if code, _ := r.get("/people", thisMachine); code != 200 {
		t.Errorf("without a login: got %d, want 200", code)
	}
	for _, text := range []string{"serve: {evening_at: '19:00'}", "serve: {login: always}",
		`serve: {login: always, link: "https://bush.example.org"}`, `serve: {link: "https://bush.example.org"}`} {
		if fault := r.reload(wide + text); fault != "" {
			t.Errorf("%s: %s", text, fault)
		}
	}
	if code, _ := r.get("/people", thisMachine); code != 401 {
		t.Errorf("with a link: got %d, want 401", code)
	}
}

const (
	boxes = "channels: [{id: push, kind: ntfy, url: 'http://127.0.0.1:1', topic: sap}, {id: mail, kind: email, host: 127.0.0.1, from: a@example.org}, {id: house, kind: webhook, url: 'http://127.0.0.1:1', secret_file: secret}]\n"
	trio  = "people: [{id: wren, role: keeper, channels: push}, {id: odell, role: crew, channels: mail}, {id: ida, role: viewer}]\n"
)

// A file that is cut before its people checks out, and would silence everybody.
func TestReloadSilencesNobodyByMistake(t *testing.T) {
	r := runningOn(t, hillOnly+strings.ReplaceAll(boxes, ", {id: house, kind: webhook, url: 'http://127.0.0.1:1', secret_file: secret}",
		"")+trio)
	full, err := os.ReadFile(r.file)
	if err != nil {
		t.Fatal(err)
	}
	const want = "people: nobody would get messages any more (until now: 1); is the file cut short? Put back who was there, or restart thawline"
	before, _, _ := strings.Cut(string(full), "people:")
	channelless := strings.Replace(string(full), ", channels: push", "", 1)
	for name, text := range map[string]string{"cut before people": before, "cut after the sites": hillOnly,
		"nobody with a channel that finds them": channelless} {
		if fault := r.reload(text); !strings.Contains(fault, want) {
			t.Errorf("%s: got %q, want %q", name, fault, want)
		}
		if got := r.h.Daemon.Recipients(); got.Reached != 1 || got.People != 3 {
			t.Errorf("%s: got %+v, want those from before", name, got)
		}
		if _, said := r.get("/readyz", thisMachine); !strings.Contains(said, want) ||
			!strings.Contains(said, "messages reach 1 of 3 people") {
			t.Errorf("%s: /readyz says %q", name, said)
		}
	}
	if fault := r.reload(string(full) + "alerts: {learners_score: 80}\n"); fault != "" {
		t.Errorf("another setting: %s", fault)
	}
	if fault := r.reload(strings.Replace(string(full),
		"{id: wren, role: keeper, channels: push}, {id: odell, role: crew, channels: mail}",
		"{id: odell, role: keeper, channels: push}", 1)); fault != "" {
		t.Errorf("somebody else instead: %s", fault)
	}
	// Where nobody is told, nothing is lost.
	alone := runningOn(t, hillOnly+trio[:0])
	if fault := alone.reload(hillOnly + "units: us\n"); fault != "" {
		t.Errorf("without people: %s", fault)
	}
}

// Strangers are told whether, and not what is wrong nor how many people there are.
func TestReadyForStrangers(t *testing.T) {
	r := runningOn(t, hillOnly+"serve: {login: always}")
	if code, said := r.get("/readyz", neighbour); code != 503 || said != "not ready\n" {
		t.Errorf("got %d %q, want 503 and not ready", code, said)
	}
	if code, said := r.get("/readyz", thisMachine); code != 503 || !strings.Contains(said, "hill: no outlook yet") {
		t.Errorf("got %d %q", code, said)
	}
}

// A file of words is watched as the settings are.
func TestWordsAreWatched(t *testing.T) {
	file := written(t, "oj.toml", "nav_boil = ")
	c := newChange(watched(&config.Config{File: written(t, "c.yaml", ""), Words: []string{file}})...)
	for range 2 {
		if c.seen() {
			t.Error("a change that nobody made")
		}
	}
	if err := os.WriteFile(file, []byte("nav_boil = \"Boil it\""), 0o600); err != nil {
		t.Fatal(err)
	}
	if c.seen() || !c.seen() || c.seen() {
		t.Error("a change is not seen once, after it has rested")
	}
}
