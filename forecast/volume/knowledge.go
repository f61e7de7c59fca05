package volume

import "math"

// Knowledge is what is held of a bush before the visits of a season: how much warmer its
// air is than that of the forecast, its groups' yields, and why its keeper comes.
type Knowledge struct {
	Groups             []Belief
	OffsetK, OffsetSDK float64
	SpreadLogSD        float64   // of the logarithm of the groups' DayLogSD
	Habit              []float64 // chances of the reasons for a visit, of which the first is the clock
}

// ownSD is how far a group strays from the bush, as a logarithm.
func (k *Knowledge) ownSD(group int) float64 { return math.Hypot(ownLog, k.Groups[group].OwnLogSD) }

// UnknownOffsetSDK is how far a bush's air strays from the forecast's where nothing has
// told: K, a normal law around none (a hollow or a slope of 150 m, common practice).
const UnknownOffsetSDK = 1.0

// Unknown is what is held of a bush of which there are no records.
func Unknown(groups ...Belief) Knowledge {
	return Knowledge{Groups: groups, OffsetSDK: UnknownOffsetSDK, SpreadLogSD: spreadLog, Habit: []float64{0.4, 0.15, 0.3, 0.15}}
}

// ByTheClock is the habit of a keeper whose visits tell nothing of how full pails were.
func ByTheClock() []float64 {
	habit := make([]float64, len(fills))
	habit[0] = 1
	return habit
}

// What a bush changes by from one season to the next, beyond what the weather explains: the
// spread of its days as a logarithm (common practice); its offset in K; and its keeper's
// habit. The trend of one season says nothing of the next.
//
// Two stations differ by 0.47 K more or less from spring to spring (Madison and Milwaukee,
// 31 springs, GHCN-Daily; 0.39 to 0.50 within one valley, Hubbard Brook, 14 springs), and what
// a season's visits say of the offset misses by 0.7 besides: they have a hill 0.9 and 0.7 K
// warmer than a forest station where a tower on it read 1.3 to 1.7 (CC0, Baumer et al.). Of
// two keepers with seasons enough one kept the habit and the other did not.
const (
	seasonSpreadLog = 0.15
	seasonOffsetK   = 0.85
	seasonHabit     = 0.5 // the share of a keeper's habit that is open again
)

// NextSeason is what is held of a later season after this one.
func (b *Bush) NextSeason() Knowledge {
	next := Unknown(make([]Belief, len(b.know.Groups))...)
	spread, spreadSD := b.moments(func(p *part) (float64, float64) { return p.mean[logSpread], p.variance(logSpread, logSpread) })
	for g := range next.Groups {
		mean, sd := b.LogYield(g)
		next.Groups[g] = b.know.Groups[g].after(mean, sd)
		next.Groups[g].DayLogSD = math.Exp(spread)
	}
	next.SpreadLogSD = math.Hypot(spreadSD, seasonSpreadLog)
	next.OffsetK, next.OffsetSDK = b.Offset()
	next.OffsetSDK = math.Hypot(next.OffsetSDK, seasonOffsetK)
	learnt := make([]float64, len(next.Habit))
	for i := range b.parts {
		learnt[b.parts[i].fill] += b.parts[i].weight
	}
	for f := range learnt {
		next.Habit[f] = seasonHabit*next.Habit[f] + (1-seasonHabit)*learnt[f]
	}
	return next
}

// nodeSpan and nodeCount: as many offsets as stems are followed abreast.
const (
	nodeSpan  = 2.1
	nodeCount = 8
)

// Offsets are the offsets in K that are to be followed side by side: evenly about what
// is held of it.
func (k *Knowledge) Offsets() []float64 {
	out := make([]float64, nodeCount)
	for i := range out {
		out[i] = k.OffsetK + k.OffsetSDK*nodeSpan*(2*float64(i)/(nodeCount-1)-1)
	}
	return out
}
