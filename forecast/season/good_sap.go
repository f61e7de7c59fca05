package season

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/weather"
)

// GoodSap is what is believed of a place's warmth at which makers stop, since the sap
// tastes off or the tapholes have dried: the log of the kelvin days above warmthFromC that
// a spring has had from 1 February on.
type GoodSap struct {
	log    []float64 // that may be the place's usual one
	weight []float64
	table  []float64 // of over, by steps of the log of warmth; made when first asked for
}

// The warmth, K d, at which seasons ended: ten uncensored ends at two places in Wisconsin
// (the mean of a maker's and another's public logs, 2009 to 2020, air of a town brought
// to the place at 0.9 K a degree and 6.5 K/km) and the two last collections of a hill in
// Massachusetts (2013, 2014; CC0, Baumer et al.) lie at 102 to 177, 144 in the geometric
// mean, with a standard deviation of 0.17 in the log between all of them. No trend with
// latitude is left: what ends later has colder air.
const (
	warmthFromC   = -2.0
	warmthFromDay = 32 // 1 February
	usualWarmth   = 144.0
	placeLogSD    = 0.2  // of places, with an error of the air of some 1 K
	yearLogSD     = 0.13 // of years at a place
	datingSDDays  = 1.5  // sap is fetched every second or third day, so the last time is known no better
)

// UsualGoodSap is the belief of a place of which no end is known.
func UsualGoodSap() GoodSap { return GoodSapAt(1, 0) }

// GoodSapAt is that of trees whose sap turns at a share of the usual warmth, known so much
// less well, as a logarithm.
func GoodSapAt(share, widerLogSD float64) GoodSap {
	const nodes = 25
	var g GoodSap
	for i := range nodes {
		z := 6 * (float64(i)/(nodes-1) - 0.5)
		g.log = append(g.log, math.Log(usualWarmth*share)+z*math.Hypot(placeLogSD, widerLogSD))
		g.weight = append(g.weight, math.Exp(-z*z/2))
	}
	g.normalise()
	return g
}

func (g *GoodSap) normalise() {
	sum := 0.0
	for _, w := range g.weight {
		sum += w
	}
	for i := range g.weight {
		g.weight[i] /= sum
	}
	g.table = nil
}

// Learn takes in the warmth in K d of a season of the place at its end; a censored one was
// stopped while the sap was still good.
func (g *GoodSap) Learn(warmth float64, censored bool) {
	for i := range g.log {
		z := (math.Log(max(warmth, 1)) - g.log[i]) / yearLogSD
		if censored {
			g.weight[i] *= max(distuv.UnitNormal.Survival(z), 1e-12)
		} else {
			g.weight[i] *= math.Exp(-z * z / 2)
		}
	}
	g.normalise()
}

// over is the chance that sap is good no more at a warmth.
func (g *GoodSap) over(warmth float64) float64 {
	sum := 0.0
	log := math.Log(max(warmth, 1))
	for i, m := range g.log {
		sum += g.weight[i] * distuv.UnitNormal.CDF((log-m)/yearLogSD)
	}
	return sum
}

// Quantile is the warmth in K d at which sap is good no more with a chance of p.
func (g *GoodSap) Quantile(p float64) float64 {
	low, high := 1.0, 2000.0
	for range 15 { // to less than a tenth
		if mid := (low + high) / 2; g.over(mid) < p {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// Warmth is what a spring has had by the end of a date, K d above warmthFromC from 1
// February; false where a day of those is not known.
func Warmth(d *weather.Daily, until time.Time) (sum float64, ok bool) {
	from := d.Index(time.Date(until.Year(), 1, warmthFromDay, 0, 0, 0, 0, time.UTC))
	for day := range d.Index(until) - from + 1 {
		sum += warmthOf(d.At(from + day))
	}
	return sum, !math.IsNaN(sum)
}

// WarmthFrom is the day of the year from which warmth counts, and WarmthAboveC the
// temperature above which it does.
const (
	WarmthFrom   = warmthFromDay
	WarmthAboveC = warmthFromC
)

// Warmths are the sums at the end of each day of a year from WarmthFrom on, up to the
// first that is not known.
func Warmths(d *weather.Daily, year int) []float64 {
	var out []float64
	sum := 0.0
	from := d.Index(time.Date(year, 1, warmthFromDay, 0, 0, 0, 0, time.UTC))
	for day := range d.Days() - from {
		if sum += warmthOf(d.At(from + day)); math.IsNaN(sum) {
			break
		}
		out = append(out, sum)
	}
	return out
}

func warmthOf(low, high float64) float64 {
	if mean := (low + high) / 2; !(mean < warmthFromC) {
		return mean - warmthFromC
	}
	return 0
}

// Ends predicts the end of good sap from courses that the spring of now may take, equally
// likely, each from 1 February on.
func (g *GoodSap) Ends(now time.Time, courses []weather.Daily) Dates {
	out := newDates(now)
	const steps = 40
	lowest, highest := g.log[0]-4*yearLogSD, g.log[len(g.log)-1]+4*yearLogSD
	if g.table == nil {
		g.table = make([]float64, steps+1)
		for i := range g.table {
			g.table[i] = g.over(math.Exp(lowest + (highest-lowest)*float64(i)/steps))
		}
	}
	table := g.table
	for k := range courses {
		sum, from := 0.0, courses[k].Index(time.Date(now.Year(), 1, 1, 0, 0, 0, 0, time.UTC))
		for i := range out.by {
			if i+1 >= warmthFromDay {
				if w := warmthOf(courses[k].At(from + i)); !math.IsNaN(w) {
					sum += w
				}
			}
			at := min(max((math.Log(max(sum, 1e-9))-lowest)/(highest-lowest), 0), 1) * steps
			j := min(int(at), steps-1)
			out.by[i] += (table[j] + (at-float64(j))*(table[j+1]-table[j])) / float64(len(courses))
		}
	}
	out.blur(datingSDDays)
	return out
}

// OverAt is the chance from which good sap is called over.
const OverAt = 0.8
