package setup

import (
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/testdata"
)

// How many people are told is the same number wherever it is said.
func TestHowManyAreToldIsSaidAlike(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	t.Setenv("THAWLINE_WEATHER_SOURCES", "open_meteo")
	t.Setenv("THAWLINE_WEATHER_OPEN_METEO_BASE_URL", services.URL)
	t.Setenv("THAWLINE_CHANNELS_HOUSE_SECRET", "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	const (
		hillOnly = "sites: [{id: hill, latitude: 44.62, longitude: -72.31, zone: America/New_York, groups: [{id: pails, taps: 50, collected_by: pail, container: 15L}]}]\n"
		boxes    = "channels: [{id: push, kind: ntfy, url: 'http://127.0.0.1:1', topic: sap}, {id: mail, kind: email, host: 127.0.0.1, from: a@example.org}, {id: house, kind: webhook, url: 'http://127.0.0.1:1', secret_file: secret}]\n"
		trio     = "people: [{id: wren, role: keeper, channels: push}, {id: odell, role: crew, channels: mail}, {id: ida, role: viewer}]\n"
	)
	hooks := strings.ReplaceAll(boxes, ", secret_file: secret", "")
	env := app.Env{Version: "test", Log: slog.New(slog.DiscardHandler),
		Clock: func() time.Time { return time.Date(2026, 3, 20, 22, 31, 0, 0, time.UTC) }, Frozen: true}
	const none = "Nobody gets messages yet: set up a way to reach them"
	for _, c := range []struct{ text, check, ready, page, french string }{
		{hooks + trio, "ok   messages               1 person gets messages", "messages reach 1 of 3 people", "1 person gets messages.",
			"1 personne reçoit les messages."},
		{hooks + strings.Replace(trio, "viewer", "viewer, channels: house", 1), "ok   messages               2 people get messages",
			"messages reach 2 of 3 people", "2 people get messages.", "2 personnes reçoivent les messages."},
		{hooks + strings.Replace(trio, "channels: push", "channels: mail", 1), "BAD  messages               " + none,
			"messages reach 0 of 3 people", none, "Personne ne reçoit encore de messages"},
		{trio[:strings.Index(trio, "channels")-2] + "}]\n", "BAD  messages               " + none, "messages reach 0 of 1 people", none,
			"Personne ne reçoit encore de messages"},
		{hooks, "BAD  messages               " + none, "messages reach 0 of 0 people", none, "Personne ne reçoit encore de messages"},
		{"", "note messages               0 people get messages", "messages reach 0 of 0 people", "0 people get messages.",
			"0 personne reçoit les messages."},
	} {
		t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
		file := filepath.Join(t.TempDir(), "thawline.yaml")
		if err := os.WriteFile(file, []byte(hillOnly+c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		load := func() (*config.Config, error) { return config.Load(file, os.Environ()) }
		settings, err := load()
		if err != nil {
			t.Fatal(err)
		}
		words, err := app.Words(settings)
		if err != nil {
			t.Fatal(err)
		}
		found := NewCheck(t.Context(), env, settings, words, "")
		if out := found.Text(false); !strings.Contains(out, c.check) || strings.HasPrefix(c.check, "BAD") && found.Bad == 0 ||
			strings.Contains(out, "\x1b") {
			t.Errorf("%s\ncheck says\n%s", c.text, out)
		}
		if c.text == hooks+trio && !strings.Contains(found.Text(false), "note person ida") {
			t.Errorf("a person without messages is no note:\n%s", found.Text(false))
		}
		red := found.Text(true)
		if nobody := !strings.HasPrefix(c.page, "1") &&
			!strings.HasPrefix(c.page, "2"); strings.Contains(red, "\x1b[1;31m"+c.check) != nobody {
			t.Errorf("%s\non a terminal check says\n%q", c.text, red)
		}
		a, err := app.Open(t.Context(), env, settings, load)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = a.Close() }()
		get := func(path string) string {
			q := httptest.NewRequest("GET", "http://localhost:8787"+path, nil)
			q.RemoteAddr = "127.0.0.1:50000" // this machine
			w := httptest.NewRecorder()
			a.Handler().ServeHTTP(w, q)
			return w.Body.String()
		}
		if said := get("/readyz"); !strings.Contains(said, c.ready) {
			t.Errorf("%s\n/readyz says %s", c.text, said)
		}
		for lang, want := range map[string]string{"en": c.page, "fr": c.french} {
			if page := get("/status?lang=" + lang); !strings.Contains(page, want) {
				t.Errorf("%s\nthe status page in %s does not say %q", c.text, lang, want)
			}
			if page := get("/status?lang=" + lang); strings.Contains(page, none) != (c.page == none && lang == "en") {
				t.Errorf("%s\nthe status page in %s is wrong about nobody", c.text, lang)
			}
		}
	}
}
