package app

import (
	"os"
	"runtime/debug"

	"thawline/cmd/thawline/internal/daemon"
)

// How much may be thrown away, in hundredths of what is kept, before it is collected: an
// outlook throws away eight megabytes, whatever is kept. For many bushes, collecting at the
// usual hundred takes a fifth of the processor's time.
const (
	fewThrowAway  = 100
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
