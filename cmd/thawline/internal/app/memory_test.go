package app

import (
	"runtime/debug"
	"slices"
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

// A start collects less often, and goes over to what is usual at the second look, whatever
// was made by then; where GOGC says something that stands all along.
func TestStartCollectsLessOften(t *testing.T) {
	was := debug.SetGCPercent(100)
	defer debug.SetGCPercent(was)
	for _, c := range []struct {
		said                     string
		sites, starts, one, then int
	}{{"", 1, startThrowAway, startThrowAway, fewThrowAway}, {"", daemon.Many + 1, startThrowAway, startThrowAway, manyThrowAway},
		{"150", 1, 77, 77, 77}} {
		t.Setenv("GOGC", c.said)
		debug.SetGCPercent(77)
		percent := func() int {
			p := debug.SetGCPercent(100)
			debug.SetGCPercent(p)
			return p
		}
		RoomToStart()
		got := []int{percent()}
		var s spare
		for range 2 {
			s.look(0, c.sites)
			got = append(got, percent())
		}
		if want := []int{c.starts, c.one, c.then}; !slices.Equal(got, want) {
			t.Errorf("%d bushes, GOGC=%q: %v, want %v", c.sites, c.said, got, want)
		}
	}
}

// What was taken for many bushes' outlooks is not given back: more follow.
func TestMemoryOfManyIsKept(t *testing.T) {
	var s spare
	for range 3 {
		s.look(5, daemon.Many+1)
	}
	if s.given != 0 {
		t.Error("given back")
	}
}

// Memory is given back after work, not during it, and not again without more work.
func TestMemoryIsGivenBackAfterWork(t *testing.T) {
	var s spare
	for i, c := range []struct{ made, given uint64 }{{0, 0}, {1, 0}, {2, 0}, {2, 2}, {2, 2}, {3, 2}, {3, 3}} {
		if s.look(c.made, 1); s.given != c.given {
			t.Errorf("look %d: given back after %d outlooks, want %d", i, s.given, c.given)
		}
	}
}
