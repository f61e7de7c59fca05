package verify

import (
	"math"

	"thawline/forecast/weather"
)

// When is the hours before the evening of a night at which forecasts are looked
// at: 0 for the evening itself, 12 for the morning, 24 and 36.
type When int

// Whens are the times whose forecasts a file may hold, newest first.
var Whens = []When{0, 12, 24, 36}

// newestOf is the newest time that all files can tell of: the evening, or, for files
// without that column, the morning.
func newestOf(files ...[]Pair) When {
	for _, pairs := range files {
		if !hasEvenings(pairs) {
			return 12
		}
	}
	return 0
}

// knows reports whether both newest forecasts are there.
func (w When) knows(p *Pair) bool {
	k := w.of(p)
	return k.Complete()
}

// of is what was known of a night. The high 60 hours ahead is in no file: that of
// the day before, issued at the same time, stands for it.
func (w When) of(p *Pair) weather.Known {
	nan := math.NaN()
	high60 := nan
	if p.before != nil {
		high60 = p.before.High36
	}
	low := []float64{p.LowEvening, p.Low12, p.Low24, p.Low36, nan, nan}
	high := []float64{p.High24, p.High36, p.High48, nan, nan, nan}
	if w == 36 {
		high[3] = high60
	}
	first := int(w) / 12
	k := weather.Known{Night: p.Night, LowMissed: nan, HighMissed: nan}
	copy(k.Low[:], low[first:])
	copy(k.High[:], high[first:])
	// The high of a day is known by its evening, so that the row of the night
	// before is over then, and the one before that twelve hours earlier.
	over := p
	for range 1 + (int(w)+12)/24 {
		if over != nil {
			over = over.before
		}
	}
	if over != nil {
		lowTold, highTold := over.LowEvening, over.High24
		if math.IsNaN(lowTold + highTold) {
			lowTold, highTold = over.Low12, over.High36
		}
		k.LowMissed, k.HighMissed = over.LowSeen-lowTold, over.HighSeen-highTold
	}
	return k
}

// ruled is whether the bare thresholds on the newest forecasts announce the event.
func ruled(k *weather.Known) bool { return k.Low[0] <= frostF && k.High[0] >= thawF }
