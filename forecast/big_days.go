package forecast

import "thawline/forecast/weather"

// BigShare of a strong day, and more, is a big run: what the best quarter of run days
// gave in most of 42 modelled seasons (the hill of 2013 to 2015, Harvard Forest 1990 to
// 1996, Madison's air 1991 to 2020: median 0.88, nine in ten between 0.63 and 1.0).
const BigShare = 0.75

// bigChances are the chances of a big run on each day, and on that day or the next: by
// the weather alone, at the yields that are most likely, since what a tap gives more
// than its neighbour makes no day big.
func bigChances(site *Site, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) (day, either []float64) {
	shares := dayShares(site, e, flow, c, y)
	day, either = make([]float64, len(shares)), make([]float64, len(shares))
	each := 1 / float64(len(e.Futures))
	for d := range shares {
		for m := range shares[d] {
			big := shares[d][m] >= BigShare
			if big {
				day[d] += each
			}
			if big || d+1 < len(shares) && shares[d+1][m] >= BigShare {
				either[d] += each
			}
		}
		day[d], either[d] = round(day[d], 3), round(either[d], 3)
	}
	return day, either
}

// dayShares is what each day gives with each member of the weather, as a share of a
// strong day of the bush.
func dayShares(site *Site, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) [][]float64 {
	strong := strongDayL(site, y) * float64(site.Taps())
	shares := make([][]float64, len(c.dates))
	for d := range shares {
		shares[d] = make([]float64, len(e.Futures))
	}
	for _, kind := range kindsOf(flow) {
		share := 0.0
		for _, g := range kind {
			share += float64(site.Groups[g].Taps) * y.mean[g] / strong
		}
		for m, byDay := range flow[kind[0]].byDay(c) {
			for d, q := range byDay {
				shares[d][m] += share * q
			}
		}
	}
	return shares
}
