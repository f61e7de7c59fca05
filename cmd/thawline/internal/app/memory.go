package app

import (
	"os"
	"runtime/debug"

	"thawline/cmd/thawline/internal/daemon"
)

// How much may be thrown away, in hundredths of what is kept, before it is collected: an
// outlook throws away eight megabytes, whatever is kept. Few bushes live on small computers;
// for many, collecting at the usual hundred takes a fifth of the processor's time.
const (
	fewThrowAway  = 50
	manyThrowAway = 300
)

// makeRoom sets when memory is collected, by the number of bushes. What GOGC says in the
// environment stands.
func makeRoom(sites int) {
	switch {
	case os.Getenv("GOGC") != "":
	case sites > daemon.Many:
		debug.SetGCPercent(manyThrowAway)
	default:
		debug.SetGCPercent(fewThrowAway)
	}
}

// spare gives memory back to the machine that was taken for a moment.
type spare struct{ seen, given uint64 }

// look gives it back once outlooks were made, and none since the last look.
func (s *spare) look(made uint64) {
	if made == s.given {
		return
	}
	if made == s.seen {
		debug.FreeOSMemory()
		s.given = made
	}
	s.seen = made
}
