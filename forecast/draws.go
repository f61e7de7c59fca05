package forecast

import "thawline/forecast/volume"

// drawsPerMember is how many yields are tried with each member of the weather.
const drawsPerMember = 8

// groupDraws holds the factors of one group, a row of days for each draw; draw
// d goes with member d / drawsPerMember.
type groupDraws [][]float64

// drawVolumes draws the yields. All groups share the luck of a draw: trees of
// one bush do well and badly together, and a prior that is off is off for all of
// them. Records will tell them apart.
func drawVolumes(site *Site, flow []groupFlow, c *calendar, seed uint64) []groupDraws {
	draws := make([]groupDraws, len(site.Groups))
	count := len(flow[0].futures) * drawsPerMember
	for g := range site.Groups {
		draws[g] = volume.Prior(site.Groups[g].Method).Factors(count, len(c.dates), seed)
	}
	return draws
}
