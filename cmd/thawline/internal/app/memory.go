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
	// A start throws away some forty megabytes until its first text; collecting them at the
	// usual share takes a quarter of its time.
	startThrowAway = 400
)

// makeRoom sets when memory is collected, by the number of bushes. What GOGC says in the
// environment stands.
func makeRoom(sites int) {
	if sites > daemon.Many {
		throwAway(manyThrowAway)
	} else {
		throwAway(fewThrowAway)
	}
}

func throwAway(percent int) {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(percent)
	}
}

// RoomToStart lets memory be collected rarely until the program has run for a moment.
func RoomToStart() { throwAway(startThrowAway) }

// spare gives memory back to the machine that was taken for a moment, and what of the program's
// file was read for it.
type spare struct {
	seen, given uint64
	looks       int
}

// look gives it back once outlooks were made, and none since the last look. The second look
// ends the start.
func (s *spare) look(made uint64, sites int) {
	if s.looks++; s.looks == 2 {
		makeRoom(sites)
	}
	if sites > daemon.Many || made == s.given {
		return
	}
	if made == s.seen {
		debug.FreeOSMemory()
		unmapProgram()
		s.given = made
	}
	s.seen = made
}
