package setup

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
)

// Who has more bushes than a handful is told by the check that one message an evening is about
// all of them, or, where each bush's are asked for, how many that makes; who has few is not.
func TestCheckSaysWhoHearsOfEveryBush(t *testing.T) {
	settings := &config.Config{DataDir: t.TempDir()}
	words, err := app.Words(settings)
	if err != nil {
		t.Fatal(err)
	}
	c := NewCheck(t.Context(), app.Env{Log: slog.New(slog.DiscardHandler), Clock: time.Now}, settings, words, "")
	for n, many := range map[int]bool{1: false, 5: false, 6: true} {
		settings.Sites = make([]forecast.Site, n)
		office, member := config.Person{Channels: []string{"text"}}, config.Person{Channels: []string{"text"}}
		member.Sites = []string{"hill"}
		if said := c.reached(&office); strings.Contains(said, "one message an evening about all 6 bushes") != many ||
			!strings.Contains(said, "reached by text") {
			t.Errorf("%d bushes: %s", n, said)
		}
		office.EachBush = true
		if said := c.reached(&office); strings.Contains(said, "gets the messages of all 6 bushes") != many {
			t.Errorf("each of %d bushes: %s", n, said)
		}
		if said := c.reached(&member); strings.Contains(said, "bushes") {
			t.Errorf("a member: %s", said)
		}
	}
}
