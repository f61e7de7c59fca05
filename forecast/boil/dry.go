package boil

import (
	"cmp"
	"math"
	"slices"
	"time"

	"thawline/forecast/weather"
)

// Dryness says how fit air is for stirring sugar.
type Dryness string

// The grades: granulated sugar takes up water from air above about 85 % relative
// humidity when pure and sooner with invert sugar in it (Allan and Mauer 2015;
// thresholds common practice).
const (
	Dry  Dryness = "dry"  // under dryPct at the place of work
	Fair Dryness = "fair" // under fairPct
	Damp Dryness = "damp" // sugar draws water and clings
)

const (
	dryPct  = 50.0
	fairPct = 65.0
	// DampPct is the humidity, per cent, from which air is damp for sugar.
	DampPct = fairPct
)

// HumidityIndoors is the relative humidity, per cent, of a room at a
// temperature into which outside air of a dew point comes: heated, the same
// moisture is drier. NaN for a room temperature means outdoors at airC.
func HumidityIndoors(dewPointC, airC, roomC float64) float64 {
	if math.IsNaN(roomC) {
		roomC = airC
	}
	return weather.RelativeHumidityFrom(max(roomC, airC), dewPointC)
}

// SugarSpan is a day's hours in which the air is dry enough to stir sugar.
type SugarSpan struct {
	Date string    `json:"date"` // local
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
	// Chance is the share of the weathers that may come in which every hour of the
	// span is within the grade.
	Chance      float64 `json:"chance"`
	HumidityPct float64 `json:"humidity_pct"` // mean of the span at the place of work, median of the weathers
	Grade       Dryness `json:"grade"`        // Dry or Fair, in each of its hours
}

// The local hours in which people stir sugar, from the first up to the last
// (common practice).
const (
	StirFrom = 7
	StirTo   = 21
)

// A span is worth naming from LeastSpan hours on: to heat the syrup, stir it and put the
// sugar away (common practice). SureEnough is the least chance of one: then every hour of
// it is dry on at least four days in five.
const (
	LeastSpan  = 3
	SureEnough = 0.8
)

// Stretch is consecutive hours of a day, from one up to, not including, another, with
// the chance that each of them is within a grade.
type Stretch struct {
	From, To    int
	Chance      float64
	HumidityPct float64
	Grade       Dryness
}

// DryStretch finds the hours of a day to stir sugar in, from the relative humidity at
// the place of work of each hour in each weather that may come, in per cent: the longest
// stretch of at least LeastSpan hours that is SureEnough to be dry throughout, else the
// longest that is so sure to be fair. Of equally long ones the surer wins, then the
// earlier. It reports false where there is none. An hour that is not known (NaN) is not
// dry.
func DryStretch(humidityPct [][]float64) (s Stretch, found bool) {
	for _, grade := range []struct {
		name  Dryness
		below float64
	}{{Dry, dryPct}, {Fair, fairPct}} {
		if s, found = longestBelow(humidityPct, grade.below); found {
			s.Grade, s.HumidityPct = grade.name, medianOfMeans(humidityPct, s.From, s.To)
			return s, true
		}
	}
	return Stretch{}, false
}

func longestBelow(humidityPct [][]float64, below float64) (best Stretch, found bool) {
	if len(humidityPct) == 0 {
		return best, false
	}
	hours, wet := len(humidityPct[0]), make([]bool, len(humidityPct))
	for from := range hours {
		clear(wet)
		for to := from + 1; to <= hours; to++ {
			dry := 0
			for m := range wet {
				wet[m] = wet[m] || !(humidityPct[m][to-1] < below)
				if !wet[m] {
					dry++
				}
			}
			s := Stretch{From: from, To: to, Chance: float64(dry) / float64(len(wet))}
			if s.Chance < SureEnough {
				break
			}
			longer := cmp.Or(cmp.Compare(to-from, best.To-best.From), cmp.Compare(s.Chance, best.Chance))
			if to-from >= LeastSpan && longer > 0 {
				best, found = s, true
			}
		}
	}
	return best, found
}

// medianOfMeans is the median over the members of the mean of their hours, of those that
// are known throughout.
func medianOfMeans(members [][]float64, from, to int) float64 {
	var means []float64
	for _, of := range members {
		sum := 0.0
		for _, x := range of[from:to] {
			sum += x
		}
		if !math.IsNaN(sum) {
			means = append(means, sum/float64(to-from))
		}
	}
	slices.Sort(means)
	return means[len(means)/2]
}
