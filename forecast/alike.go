package forecast

import "slices"

// runsAs reports whether the usual tap of one group runs as that of another whatever the
// weather: in wood and with holes alike that are open at the same times.
func (g *Group) runsAs(other *Group) bool {
	same := func(a, b Span) bool { return a.From.Equal(b.From) && a.To.Equal(b.To) }
	return g.Species.Name() == other.Species.Name() && g.VacuumKPa == other.VacuumKPa && g.hole() == other.hole() &&
		slices.EqualFunc(g.spells(), other.spells(), same)
}

// alikeOf is, of each group, the first one that it runs as. What those give that run alike is
// worked out once.
func alikeOf(groups []Group) []int {
	alike := make([]int, len(groups))
	var firsts []int
	for g := range groups {
		n := slices.IndexFunc(firsts, func(first int) bool { return groups[g].runsAs(&groups[first]) })
		if n < 0 {
			n, firsts = len(firsts), append(firsts, g)
		}
		alike[g] = firsts[n]
	}
	return alike
}

// kindsOf are the groups of those that run alike, by their places in a list of flows.
func kindsOf(flow []groupFlow) [][]int {
	var kinds [][]int
	of := map[int]int{}
	for g := range flow {
		k, known := of[flow[g].alike]
		if !known {
			k, kinds = len(kinds), append(kinds, nil)
			of[flow[g].alike] = k
		}
		kinds[k] = append(kinds[k], g)
	}
	return kinds
}

// byDay sums the flow of a usual tap by member and day, litres; today's from its beginning.
func (f *groupFlow) byDay(c *calendar) [][]float64 {
	today := f.today(c)
	all := make([]float64, len(f.futures)*len(c.dates))
	out := make([][]float64, len(f.futures))
	for m, future := range f.futures {
		out[m] = all[m*len(c.dates) : (m+1)*len(c.dates)]
		out[m][0] = today[f.of[m]]
		for h, q := range future {
			if day := c.futureDay[h]; day >= 0 {
				out[m][day] += q
			}
		}
	}
	return out
}
