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
// give from 15 February to 30 April, the middle of thirty springs at Madison and at
// Milwaukee by their daily lows and highs (GHCN-Daily: 45.7 and 44.2, between 24 and 88);
// the cold spring of 2015 on a hill in Massachusetts gave 27. A strong day lies between
// the best of four run days (2.2 and 2.3) and of ten (2.75 and 2.9).
const (
	UsualSeasonL    = 45.0
	UsualStrongDayL = 2.5
)

// BucketSeasonL is what a tap with a pail gives in a usual season, litres: six seasons in
// Wisconsin (a maker's public diary) gave 22 to 31.5, one in Massachusetts 34.5
// (landssake.org), and three on a hill there 51, 19 and 20 (CC0, Baumer et al.).
const BucketSeasonL = 30.0

// RunDayL is the least a tap gives on a day that counts as a run.
const RunDayL = 0.5

// Belief is what is held of a group's yield against the usual tap: a
// log-normal factor for the season, of which LogMean is the median day's, and,
// around it, one for each day.
type Belief struct {
	LogMean, LogSD float64
	DayLogSD       float64
	OwnLogSD       float64 // beyond what groups of one bush usually stray from each other
	Before         *Years  // the seasons that were learnt from, nil for none
}

// Prior is the belief before any record: BucketSeasonL a tap and season
// for pails and bags, a tenth more for gravity tubing (common practice), with
// two seasons in three within a factor of 1.5. What vacuum adds comes from the
// flow itself. Days stray by 0.4 to 0.75 in the logarithm around the model on the
// tap logs of 2013 and 2014 (CC0, Baumer et al.), so that the median lies below
// the mean that handbooks speak of.
func Prior(m Method) Belief {
	seasonL := BucketSeasonL
	if m == TubingGravity || m == TubingVacuum {
		seasonL *= 1.1
	}
	const days = 0.6
	return Belief{LogMean: math.Log(seasonL/UsualSeasonL) - days*days/2, LogSD: 0.4, DayLogSD: days}
}
