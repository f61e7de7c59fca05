// Package volume turns the flow of a usual tap into the litres that a group of
// taps will give, and says how sure that is.
package volume

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

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

// RunDayL is the least a tap gives on a day that counts as a run.
const RunDayL = 0.5

// Belief is what is held of a group's yield against the usual tap: a
// log-normal factor for the season and, around it, one for each day.
type Belief struct {
	LogMean, LogSD float64
	DayLogSD       float64
}

// Prior is the belief before any record: about 10 US gallons a tap and season
// for pails and bags, a tenth more for gravity tubing (common practice), with
// two seasons in three within a factor of 1.5. What vacuum adds comes from the
// flow itself. Days stray by 0.4 to 0.75 in the logarithm around the model on the
// tap logs of 2013 and 2014 (CC0, Baumer et al.).
func Prior(m Method) Belief {
	seasonL := 38.0
	if m == TubingGravity || m == TubingVacuum {
		seasonL = 42
	}
	return Belief{LogMean: math.Log(seasonL / UsualSeasonL), LogSD: 0.4, DayLogSD: 0.6}
}

// StrongDayL is the volume of a strong day in litres a tap: the flow score's
// 100.
func (b Belief) StrongDayL() float64 { return UsualStrongDayL * math.Exp(b.LogMean) }

// Factors draws count factors for each of days from the belief: one row a draw,
// its season's factor times each day's own. The draws are spread evenly over
// the season's distribution, so that few give a steady answer.
func (b Belief) Factors(count, days int, seed uint64) [][]float64 {
	rng := rand.New(rand.NewPCG(seed, 0x766f6c756d65))
	rows := make([][]float64, count)
	for i, k := range rng.Perm(count) {
		z := distuv.UnitNormal.Quantile((float64(k) + 0.5) / float64(count))
		season := math.Exp(b.LogMean + b.LogSD*z)
		rows[i] = make([]float64, days)
		for d := range rows[i] {
			rows[i][d] = season * math.Exp(b.DayLogSD*rng.NormFloat64()-b.DayLogSD*b.DayLogSD/2)
		}
	}
	return rows
}
