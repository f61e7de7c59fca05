package forecast

import (
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// Inputs is everything an outlook depends on.
type Inputs struct {
	Site       Site
	Bulletin   weather.Bulletin
	Kept       bool // the bulletin is the last good one: no service answered
	PassedOver []PassedOver
	Visits     []records.Visit
	Before     weather.Series // hours kept of this season, before those of the bulletin; may be empty
	Years      weather.Daily  // lows and highs of this winter and earlier years at the place; may be empty
	Now        time.Time
	Seed       uint64
}
