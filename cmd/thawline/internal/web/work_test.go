package web_test

import (
	"encoding/json"
	"html"
	"log/slog"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/demo"
	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/testdata"
)

var tags = regexp.MustCompile(`<[^>]*>|\s+`)

// What the API says of the work is what the pages say: tonight's text and box, and the page
// of rounds, name the groups of the next round with its hour, and no pan gets what has gone
// bad.
func TestPagesSayTheWorkOfTheAPI(t *testing.T) {
	evenings := []int{-12, -9, -5, 0}
	if testing.Short() {
		evenings = evenings[3:]
	}
	w, err := message.NewWords(message.Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	for _, day := range evenings {
		settings, err := demo.Settings()
		if err != nil {
			t.Fatal(err)
		}
		settings.Serve.Listen = "127.0.0.1:8787"
		at := testdata.Now().AddDate(0, 0, day)
		h, err := demo.New(t.Context(), app.Env{Version: "test", Log: slog.New(slog.DiscardHandler), Frozen: true,
			Clock: func() time.Time { return at }}, settings, t.TempDir(), 2)
		if err != nil {
			t.Fatal(err)
		}
		p := &pages{t: t, h: h, handler: h.Handler(), network: "127.0"}
		var o forecast.Outlook
		if err := json.Unmarshal([]byte(p.must(200, "GET", "/api/v1/sites/kettle/outlook", nil)), &o); err != nil {
			t.Fatal(err)
		}
		read := func(path string) string {
			return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(p.must(200, "GET", path+"?lang=en&units=us",
				nil), " "))), " ")
		}
		tonight, rounds := read("/site/kettle"), read("/site/kettle/rounds")
		verdict := w.Say(message.EveningWord(&o.Days[1]), nil)
		if amount, unit := w.RoughVolume(o.Days[1].VolumeL.P50); !strings.Contains(tonight, verdict) ||
			!strings.Contains(w.Evening(&o), verdict) || !strings.Contains(tonight, amount+" "+unit) {
			t.Errorf("%s: the page does not say %q, %s %s", at, verdict, amount, unit)
		}
		next, due := o.Work.Next()
		coming, carried := o.Work.Coming()
		all, unit := w.RoughVolume(carried.P50)
		for where, says := range map[string]string{"the text": w.Evening(&o), "rounds": rounds, "tonight": tonight} {
			if due && (where != "tonight" || len(coming) != 2) && !strings.Contains(says, all+" "+unit) {
				t.Errorf("%s: %s does not say that %d rounds carry in %s %s", at, where, len(coming), all, unit)
			}
		}
		if len(o.Work.Groups) != 3 || (len(next) == 0) != strings.Contains(tonight, w.Say("tonight_nothing", nil)) {
			t.Errorf("%s: %d groups, rounds to %d of them, and the box does not say so", at, len(o.Work.Groups), len(next))
		}
		for i := range next {
			g := &next[i]
			name, hour := o.Bush.GroupName(g.Group), w.Clock(next[0].GoAt.In(settings.Sites[0].Zone))
			for path, page := range map[string]string{"tonight": tonight, "rounds": rounds} {
				if !strings.Contains(page, name) || !strings.Contains(page, hour) {
					t.Errorf("%s: %s does not say that somebody goes to %s at %s", at, path, name, hour)
				}
			}
		}
		for _, id := range o.Work.ToTipOut() {
			if name := o.Bush.GroupName(id); !strings.Contains(tonight, name) || !strings.Contains(rounds, name) {
				t.Errorf("%s: nothing of %s, which is tipped out", at, name)
			}
		}
		if err := h.Archive.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
