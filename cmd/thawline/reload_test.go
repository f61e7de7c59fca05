package main

import (
	"log/slog"
	"net"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/config"
)

// running is a daemon that can be given other settings, without a socket that is
// really open.
type running struct {
	t        *testing.T
	g        *globals
	h        *house
	settings *config.Config
}

const hillOnly = "sites: [{id: hill, latitude: 44.62, longitude: -72.31, zone: America/New_York, groups: [{id: pails, taps: 50, collected_by: pail, container: 15L}]}]\n"

func runningOn(t *testing.T, text string) *running {
	t.Helper()
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	r := &running{t: t, g: &globals{configFile: written(t, "thawline.yaml", text), log: slog.New(slog.DiscardHandler), now: "2026-03-20T22:31:00Z"}}
	var err error
	if r.settings, err = r.g.settings(); err != nil {
		t.Fatal(err)
	}
	a, err := openArchive(t.Context(), r.settings)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	catalogue, err := message.LoadCatalogue()
	if err != nil {
		t.Fatal(err)
	}
	r.h = newHouse(r.g, a, r.g.clock)
	r.h.use(r.settings, catalogue)
	s, err := daemonSettings(r.g, r.settings, a, ledger.New(a.DB()))
	if err != nil {
		t.Fatal(err)
	}
	if err := r.h.daemon.Use(s, r.g.clock()); err != nil {
		t.Fatal(err)
	}
	to, err := net.ResolveTCPAddr("tcp", r.settings.Serve.Listen)
	if err != nil {
		t.Fatal(err)
	}
	r.h.gate.Bound(to)
	return r
}

// reload gives the file another text and says what is wrong with that, "" if it is
// used.
func (r *running) reload(text string) (fault string) {
	r.t.Helper()
	if err := os.WriteFile(r.g.configFile, []byte(text), 0o600); err != nil {
		r.t.Fatal(err)
	}
	r.settings = reload(r.g, r.h, r.settings)
	_, fault = r.h.daemon.Standings()
	return fault
}

func (r *running) get(path, peer string) (int, string) {
	q := httptest.NewRequest("GET", "http://localhost:8787"+path, nil)
	q.RemoteAddr = peer
	w := httptest.NewRecorder()
	r.h.handler().ServeHTTP(w, q)
	return w.Code, w.Body.String()
}

const neighbour, thisMachine = "192.168.1.50:50000", "127.0.0.1:50000"

// Settings that would open the pages to whoever is in reach, or that the socket
// can't follow, are refused, and the old ones go on.
func TestReloadOpensNoDoors(t *testing.T) {
	const wide = hillOnly + "people: [{id: wren, role: keeper}]\n"
	for name, c := range map[string]struct{ before, after, want string }{
		"to this machine alone": {wide + `serve: {listen: "0.0.0.0:8787"}`, wide + `serve: {listen: "127.0.0.1:8787"}`, "serve.listen: 127.0.0.1:8787 instead of 0.0.0.0:8787: the address can't change while thawline runs; put it back, or restart thawline"},
		"cut before serve":      {wide + `serve: {listen: "0.0.0.0:8787"}`, wide, "serve.listen: 127.0.0.1:8787 instead of 0.0.0.0:8787"},
		"another port":          {wide + `serve: {listen: "127.0.0.1:8787", login: always}`, wide + `serve: {listen: "127.0.0.1:8788", login: always}`, "serve.listen: 127.0.0.1:8788"},
		"link gone":             {wide + `serve: {link: "https://bush.example.org"}`, wide, "serve.link: nobody would have to log in any more, and that can't change while thawline runs; put back what was there, or restart thawline"},
		"login gone":            {wide + `serve: {login: always}`, wide + `serve: {login: auto}`, "serve.login: nobody would have to log in"},
		"both gone":             {wide + `serve: {login: always, link: "https://bush.example.org"}`, wide, "serve.link, serve.login: nobody would have to log in"},
		"everything gone":       {wide + `serve: {login: always, listen: "0.0.0.0:8787", link: "https://bush.example.org"}`, wide, "serve.listen: "},
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
	for _, text := range []string{"serve: {evening_at: '19:00'}", "serve: {login: always}", `serve: {login: always, link: "https://bush.example.org"}`, `serve: {link: "https://bush.example.org"}`} {
		if fault := r.reload(wide + text); fault != "" {
			t.Errorf("%s: %s", text, fault)
		}
	}
	if code, _ := r.get("/people", thisMachine); code != 401 {
		t.Errorf("with a link: got %d, want 401", code)
	}
}
