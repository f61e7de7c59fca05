package forecast

import "thawline/forecast/volume"

// drawsPerMember is how many yields are tried with each member of the weather.
const drawsPerMember = 8

// groupDraws holds the factors of one group, a row of days for each draw; draw
// d goes with member d / drawsPerMember.
type groupDraws [][]float64

func drawVolumes(site *Site, flow []groupFlow, c *calendar, seed uint64) []groupDraws {
	draws := make([]groupDraws, len(site.Groups))
	count := len(flow[0].futures) * drawsPerMember
	for g := range site.Groups {
		draws[g] = volume.Prior(site.Groups[g].Method).Factors(count, len(c.dates), seed+uint64(g))
	}
	return draws
}
