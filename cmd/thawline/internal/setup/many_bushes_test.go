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

// Who gets the messages of more bushes than a household has is told so by the check; who
// names bushes, or has few, is not.
func TestCheckSaysWhoHearsOfEveryBush(t *testing.T) {
	settings := &config.Config{DataDir: t.TempDir()}
	words, err := app.Words(settings)
	if err != nil {
		t.Fatal(err)
	}
	c := NewCheck(t.Context(), app.Env{Log: slog.New(slog.DiscardHandler), Clock: time.Now}, settings, words, "")
	const want = "gets the messages of all 4 bushes"
	for n, told := range map[int]bool{1: false, 3: false, 4: true} {
		settings.Sites = make([]forecast.Site, n)
		office, member := config.Person{Channels: []string{"text"}}, config.Person{Channels: []string{"text"}}
		member.Sites = []string{"hill"}
		if said := c.reached(&office); strings.Contains(said, want) != told || !strings.Contains(said, "reached by text") {
			t.Errorf("%d bushes: %s", n, said)
		}
		if said := c.reached(&member); strings.Contains(said, "bushes") {
			t.Errorf("a member: %s", said)
		}
	}
}
