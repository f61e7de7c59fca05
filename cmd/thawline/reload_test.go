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
	"thawline/testdata"
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

const (
	boxes = "channels: [{id: push, kind: ntfy, url: 'http://127.0.0.1:1', topic: sap}, {id: mail, kind: email, host: 127.0.0.1, from: a@example.org}, {id: house, kind: webhook, url: 'http://127.0.0.1:1', secret_file: secret}]\n"
	trio  = "people: [{id: wren, role: keeper, channels: push}, {id: odell, role: crew, channels: mail}, {id: ida, role: viewer}]\n"
)

// A file that is cut before its people checks out, and would silence everybody.
func TestReloadSilencesNobodyByMistake(t *testing.T) {
	r := runningOn(t, hillOnly+strings.ReplaceAll(boxes, ", {id: house, kind: webhook, url: 'http://127.0.0.1:1', secret_file: secret}", "")+trio)
	full, err := os.ReadFile(r.g.configFile)
	if err != nil {
		t.Fatal(err)
	}
	const want = "people: nobody would get messages any more (until now: 1): is the file cut short? Put back who was there, or restart thawline"
	before, _, _ := strings.Cut(string(full), "people:")
	channelless := strings.Replace(string(full), ", channels: push", "", 1)
	for name, text := range map[string]string{"cut before people": before, "cut after the sites": hillOnly, "nobody with a channel that finds them": channelless} {
		if fault := r.reload(text); !strings.Contains(fault, want) {
			t.Errorf("%s: got %q, want %q", name, fault, want)
		}
		if got := r.h.daemon.Recipients(); got.Reached != 1 || got.People != 3 {
			t.Errorf("%s: got %+v, want those from before", name, got)
		}
		if _, said := r.get("/readyz", thisMachine); !strings.Contains(said, want) || !strings.Contains(said, "messages reach 1 of 3 people") {
			t.Errorf("%s: /readyz says %q", name, said)
		}
	}
	if fault := r.reload(string(full) + "alerts: {learners_score: 80}\n"); fault != "" {
		t.Errorf("another setting: %s", fault)
	}
	if fault := r.reload(strings.Replace(string(full), "{id: wren, role: keeper, channels: push}, {id: odell, role: crew, channels: mail}", "{id: odell, role: keeper, channels: push}", 1)); fault != "" {
		t.Errorf("somebody else instead: %s", fault)
	}
	// Where nobody is told, nothing is lost.
	alone := runningOn(t, hillOnly+trio[:0])
	if fault := alone.reload(hillOnly + "units: us\n"); fault != "" {
		t.Errorf("without people: %s", fault)
	}
}

// How many people are told is the same number wherever it is said.
func TestHowManyAreToldIsSaidAlike(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	t.Setenv("THAWLINE_WEATHER_SOURCES", "open_meteo")
	t.Setenv("THAWLINE_WEATHER_OPEN_METEO_BASE_URL", services.URL)
	t.Setenv("THAWLINE_CHANNELS_HOUSE_SECRET", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	hooks := strings.ReplaceAll(boxes, ", secret_file: secret", "")
	const none = "Nobody gets messages yet: set up a way to reach them"
	for _, c := range []struct{ text, check, ready, page, french string }{
		{hooks + trio, "ok   messages               1 person gets messages", "messages reach 1 of 3 people", "1 person gets messages.", "1 personne reçoit les messages."},
		{hooks + strings.Replace(trio, "viewer", "viewer, channels: house", 1), "ok   messages               2 people get messages", "messages reach 2 of 3 people", "2 people get messages.", "2 personnes reçoivent les messages."},
		{hooks + strings.Replace(trio, "channels: push", "channels: mail", 1), "BAD  messages               " + none, "messages reach 0 of 3 people", none, "Personne ne reçoit encore de messages"},
		{trio[:strings.Index(trio, "channels")-2] + "}]\n", "BAD  messages               " + none, "messages reach 0 of 1 people", none, "Personne ne reçoit encore de messages"},
		{hooks, "BAD  messages               " + none, "messages reach 0 of 0 people", none, "Personne ne reçoit encore de messages"},
		{"", "ok   messages               0 people get messages", "messages reach 0 of 0 people", "0 people get messages.", "0 personne reçoit les messages."},
	} {
		r := runningOn(t, hillOnly+c.text)
		out, err := run(t, nil, "check", "--config", r.g.configFile, "--now", r.g.now)
		if !strings.Contains(out, c.check) || strings.HasPrefix(c.check, "BAD") && err == nil {
			t.Errorf("%s\ncheck says (%v)\n%s", c.text, err, out)
		}
		if _, said := r.get("/readyz", thisMachine); !strings.Contains(said, c.ready) {
			t.Errorf("%s\n/readyz says %s", c.text, said)
		}
		for lang, want := range map[string]string{"en": c.page, "fr": c.french} {
			if _, page := r.get("/status?lang="+lang, thisMachine); !strings.Contains(page, want) {
				t.Errorf("%s\nthe status page in %s does not say %q", c.text, lang, want)
			}
			if _, page := r.get("/status?lang="+lang, thisMachine); strings.Contains(page, none) != (c.page == none && lang == "en") {
				t.Errorf("%s\nthe status page in %s is wrong about nobody", c.text, lang)
			}
		}
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
