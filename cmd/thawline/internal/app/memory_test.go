package app

import (
	"runtime/debug"
	"testing"

	"thawline/cmd/thawline/internal/daemon"
)

// Where many outlooks are made memory is collected less often than on a small computer,
// and as the environment says where it says something.
func TestMemoryIsCollectedByTheNumberOfBushes(t *testing.T) {
	was := debug.SetGCPercent(100)
	defer debug.SetGCPercent(was)
	for _, c := range []struct {
		said        string
		sites, want int
	}{{"", daemon.Many, fewThrowAway}, {"", daemon.Many + 1, manyThrowAway}, {"150", daemon.Many + 1, 77}} {
		t.Setenv("GOGC", c.said)
		debug.SetGCPercent(77)
		makeRoom(c.sites)
		if got := debug.SetGCPercent(77); got != c.want {
			t.Errorf("%d bushes, GOGC=%q: %d, want %d", c.sites, c.said, got, c.want)
		}
	}
}

// Memory is given back after work, not during it, and not again without more work.
func TestMemoryIsGivenBackAfterWork(t *testing.T) {
	var s spare
	for i, c := range []struct{ made, given uint64 }{{0, 0}, {1, 0}, {2, 0}, {2, 2}, {2, 2}, {3, 2}, {3, 3}} {
		if s.look(c.made); s.given != c.given {
			t.Errorf("look %d: given back after %d outlooks, want %d", i, s.given, c.given)
		}
	}
}
