// Package volume turns the flow of a usual tap into the litres that a group of
// taps will give, and says how sure that is.
package volume

import "math"

// Method is how sap is collected from a group of taps.
type Method string

// The methods that settings name.
const (
	Pail          Method = "pail"
	Bag           Method = "bag"
	TubingGravity Method = "tubing_gravity"
	TubingVacuum  Method = "tubing_vacuum"
)

// Season totals and strong days of the usual tap, litres: what trunk and sap
// give over the season of 2015 on a hill in Massachusetts (15 February to 30
// April, weather CC0, Baumer et al.); a strong day is the best of ten run days.
const (
	UsualSeasonL    = 49.0
	UsualStrongDayL = 3.3
)

// handbookSeasonL is a season of a pail, litres (common practice).
const handbookSeasonL = 38.0

// RunDayL is the least a tap gives on a day that counts as a run.
const RunDayL = 0.5

// Belief is what is held of a group's yield against the usual tap: a
// log-normal factor for the season, of which LogMean is the median day's, and,
// around it, one for each day.
type Belief struct {
	LogMean, LogSD float64
	DayLogSD       float64
}

// Prior is the belief before any record: about 10 US gallons a tap and season
// for pails and bags, a tenth more for gravity tubing (common practice), with
// two seasons in three within a factor of 1.5. What vacuum adds comes from the
// flow itself. Days stray by 0.4 to 0.75 in the logarithm around the model on the
// tap logs of 2013 and 2014 (CC0, Baumer et al.), so that the median lies below
// the mean that handbooks speak of.
func Prior(m Method) Belief {
	seasonL := handbookSeasonL
	if m == TubingGravity || m == TubingVacuum {
		seasonL = 42
	}
	const days = 0.6
	return Belief{LogMean: math.Log(seasonL/UsualSeasonL) - days*days/2, LogSD: 0.4, DayLogSD: days}
}
