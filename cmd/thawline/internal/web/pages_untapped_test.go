package web_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"thawline/config"
)

// Where nobody has said that taps are in, the first screen and the rounds plan nothing and ask;
// a button says it, of each group, and the work is back.
func TestTapsThatNobodySaidAreIn(t *testing.T) {
	p := demoPages(t, func(c *config.Config) {
		for g := range c.Sites[0].Groups {
			c.Sites[0].Groups[g].Tapped = time.Time{}
		}
	})
	stored, err := p.h.Archive.Visits(t.Context(), "kettle", time.Time{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	defer p.h.Remake(t.Context(), nil)()
	for i := range stored { // rounds say it too
		if err := p.h.Archive.Remove(t.Context(), stored[i].ID, stored[i].Revision, "robin", stored[i].CollectedAt); err != nil {
			t.Fatal(err)
		}
	}
	tonight, rounds := p.must(200, "GET", "/site/kettle", nil), p.must(200, "GET", "/site/kettle/rounds", nil)
	for at, page := range map[string]string{"tonight": tonight, "rounds": rounds} {
		if !strings.Contains(page, "Are your taps in?") || strings.Contains(page, "Gather") {
			t.Errorf("%s: %s", at, page)
		}
	}
	if n := strings.Count(rounds, "taps are in</button>"); n != 3 {
		t.Errorf("%d buttons, want one for each group", n)
	}
	if w := p.ask("POST", "/site/kettle/taps", url.Values{"group": {"ridge"}, "do": {"tapped"}}); w.Code != 303 {
		t.Fatalf("%d", w.Code)
	}
	if rounds = p.must(200, "GET", "/site/kettle/rounds", nil); strings.Contains(rounds, "Are your taps in?") {
		t.Errorf("said, and still asked: %s", rounds)
	}
	// The others are asked about by themselves, and nobody is sent there, until it is said of all.
	if n := strings.Count(rounds, "taps are in</button>"); n != 2 || !strings.Contains(rounds, "Are these taps in too?") ||
		strings.Count(rounds, "not tapped yet") != 2 {
		t.Errorf("of ridge alone, with %d buttons: %s", n, rounds)
	}
	for _, g := range []string{"hollow", "lane"} {
		if w := p.ask("POST", "/site/kettle/taps", url.Values{"group": {g}, "do": {"tapped"}}); w.Code != 303 {
			t.Fatalf("%s: %d", g, w.Code)
		}
	}
	if rounds = p.must(200, "GET", "/site/kettle/rounds", nil); strings.Contains(rounds, "taps are in</button>") ||
		strings.Contains(rounds, "not tapped yet") {
		t.Errorf("said of all, and still asked: %s", rounds)
	}
}
