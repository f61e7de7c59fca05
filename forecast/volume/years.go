package volume

import (
	"math"
	"slices"
)

// Years are the yields of a bush's earlier seasons, and what was held before any of them.
type Years struct {
	LogMean, LogSD float64
	Seasons        []Year
}

// Year is what one season's records alone say of its log yield.
type Year struct{ Log, SD float64 }

// A season's yield is the bush's own and the season's. How what is held before any record
// parts into the two is learnt: seasonLog is how far seasons are taken to stray around the
// bush at first, as a logarithm, which weighs as much as seasonLogWeight seasons against
// how the bush's own differ among each other; ownLeast is how far the bush itself is at
// least open. Ten sums of three bushes (51, 19 and 20 L a tap on one hill, CC0, Baumer et al.;
// six of 22 to 31.5 in Wisconsin; 34.5, landssake.org) part it best where nearly all of it is
// the season's: bushes differ by less than a bush does from itself. But those six differ by
// 0.13 only: some bushes are steady, and then their own yield is worth knowing.
const (
	seasonLog       = 0.38
	seasonLogWeight = 3.0
	ownLeast        = 0.1
)

// after is what is held of the yield of a later season where this one's is known by its mean
// and spread.
func (b Belief) after(mean, sd float64) Belief {
	years := Years{LogMean: b.LogMean, LogSD: b.LogSD}
	if b.Before != nil {
		years = Years{b.Before.LogMean, b.Before.LogSD, slices.Clone(b.Before.Seasons)}
	}
	next := Belief{LogMean: b.LogMean, LogSD: b.LogSD, DayLogSD: b.DayLogSD, Before: b.Before}
	known := 1 / (square(b.LogSD) + square(b.OwnLogSD))
	if told := 1/square(sd) - known; told > 1e-3 { // else its records say nothing
		years.Seasons = append(years.Seasons, Year{(mean/square(sd) - b.LogMean*known) / told, 1 / math.Sqrt(told)})
		next.LogMean, next.LogSD = years.next()
		next.Before = &years
	}
	return next
}

// next are mean and standard deviation of what is held of the log yield of one season more.
func (y *Years) next() (mean, sd float64) {
	season := y.seasonVariance()
	own := max(square(y.LogSD)-season, square(ownLeast))
	known, sum := 1/own, 0.0
	for _, s := range y.Seasons {
		told := 1 / (season + square(s.SD))
		known += told
		sum += told * (s.Log - y.LogMean)
	}
	return y.LogMean + sum/known, math.Sqrt(1/known + season)
}

// seasonVariance is how far the bush's seasons stray around it: each counts for as much as
// its records tell more than chance, the mean of all taken off (as the n - 1 of a variance).
func (y *Years) seasonVariance() float64 {
	share := func(s Year) float64 { return square(seasonLog) / (square(seasonLog) + square(s.SD)) }
	n, mean := 0.0, 0.0
	for _, s := range y.Seasons {
		n += share(s)
		mean += share(s) * s.Log
	}
	squares := seasonLogWeight * square(seasonLog)
	for _, s := range y.Seasons {
		squares += square(share(s) * (s.Log - mean/n))
	}
	return squares / (seasonLogWeight + max(n-1, 0))
}
