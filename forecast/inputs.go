package forecast

import (
	"hash/fnv"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Inputs is everything an outlook depends on.
type Inputs struct {
	Site       Site
	Bulletin   weather.Bulletin
	Kept       bool // the bulletin is the last good one: no service answered
	PassedOver []PassedOver
	Watch      Watch // official warnings for the place
	Visits     []records.Visit
	Attendance []records.Attendance  // of rounds to come; what is over is left out
	Told       Announced             // by the last evening, or by news of a round since; what is over is left out
	House      []records.HouseEntry  // the sugarhouse's book
	Classes    []records.ClassVisit  // that are booked
	TapEvents  []records.TapEvent    // when taps were put in and pulled; those of other seasons are left out
	Before     weather.Series        // hours kept of this season, before those of the bulletin; may be empty
	Taught     Taught                // by earlier seasons; may be empty
	Observed   []records.Observation // in the bush this season: its own thermometer's lows and highs, and whether it dripped
	Near       []Nearby              // what bushes near by saw today; may be empty
	Offset     Offset                // what a thermometer tells of the bush's air; may be empty
	AsksTaps   bool                  // nobody goes before somebody has said that taps are in; without it they count as in
	ByPlan     bool                  // visits were made when the plan said so: they tell nothing of when their keeper comes
	Now        time.Time
	Seed       uint64
	Memory     *volume.Memory // of what was learnt before, so that it is not learnt again; may be nil
	EveningAt  time.Duration  // of the evening text, after local midnight; 0 for the usual half past six
}

// Offset is how much warmer the air of a bush is than that of the forecast: a normal law
// in K. SDK is 0 where nothing is known.
type Offset struct{ MeanK, SDK float64 }

// SeedOf is the same for a site through an hour, wherever the outlook is made, so
// that a command and the daemon say the same.
func SeedOf(site *Site, now time.Time) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(site.ID + now.UTC().Format("2006010215"))) // never fails
	return h.Sum64()
}
