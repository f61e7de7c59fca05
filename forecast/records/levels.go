package records

import (
	"math"
	"time"
)

// Level is what a gauge said stands in a tank.
type Level struct {
	At     time.Time
	Litres float64
}

// levelNoise is the part of a tank's volume below which a change of its gauge is
// not taken for sap (common practice: floats and pressure gauges of small tanks
// are read to about one part in a hundred).
const levelNoise = 0.01

// longestSilence is how long a gauge may say nothing before a tank could have
// been drawn off and filled again unseen.
const longestSilence = 6 * time.Hour

// Risen sums what ran into a tank of tankL litres over levels in order of time,
// through any number of times it was drawn off. Changes below one hundredth of
// the tank are taken for noise. fillings is how often it rose. atLeast says that more
// may have come: the gauge was silent for more than six hours, or the tank stood full.
func Risen(levels []Level, tankL float64) (litres float64, fillings int, atLeast bool) {
	if len(levels) == 0 {
		return 0, 0, false
	}
	noise := levelNoise * tankL
	rising, trough, peak := false, levels[0].Litres, levels[0].Litres
	for i, l := range levels {
		if i > 0 && l.At.Sub(levels[i-1].At) > longestSilence || l.Litres >= tankL-noise {
			atLeast = true
		}
		switch {
		case rising && l.Litres < peak-noise: // drawn off
			litres, fillings = litres+peak-trough, fillings+1
			rising, trough = false, l.Litres
		case rising:
			peak = math.Max(peak, l.Litres)
		case l.Litres > trough+noise:
			rising, peak = true, l.Litres
		default:
			trough = math.Min(trough, l.Litres)
		}
	}
	if rising {
		litres, fillings = litres+peak-trough, fillings+1
	}
	return litres, fillings, atLeast
}

// Counted sums what a gauge counted on over readings in order of time; it may begin again
// at zero. atLeast says that it was silent for more than six hours.
func Counted(readings []Level) (litres float64, atLeast bool) {
	for i := 1; i < len(readings); i++ {
		if more := readings[i].Litres - readings[i-1].Litres; more >= 0 {
			litres += more
		} else {
			litres += readings[i].Litres
		}
		atLeast = atLeast || readings[i].At.Sub(readings[i-1].At) > longestSilence
	}
	return litres, atLeast
}
