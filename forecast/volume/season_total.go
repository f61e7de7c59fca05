package volume

import "math"

// sumLog is how far the sum of a season strays, as a logarithm, by its weather, by
// what ran over and by what was not written down: the tap logs of one hill in 2013,
// 2014 and 2017 (CC0, Baumer et al.) come to 51, 19 and 20 L a tap.
const sumLog = 0.56

// AfterSeason is the belief for a later season after one of which only the sum is
// known, in litres a tap: above zero. The mean of a season lies above the median day
// by half the variance of days, as in Prior.
func (b Belief) AfterSeason(litresTap float64) Belief {
	seen := math.Log(litresTap/UsualSeasonL) - b.DayLogSD*b.DayLogSD/2
	known, told := 1/square(b.LogSD), 1/square(sumLog)
	return b.after((known*b.LogMean+told*seen)/(known+told), math.Sqrt(1/(known+told)))
}
