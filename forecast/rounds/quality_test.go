package rounds

import (
	"math"
	"runtime"
	"testing"
)

// bench are bushes to plan: of so many groups and helpers, a few of each.
var bench = []struct {
	groups, helpers, bushes int
	// What the search alone and the whole came to when this was last measured: geometric means
	// of costs, and how much was looked at. Whoever makes one of them worse sees it; whoever makes
	// them better, or looks elsewhere, writes the new figures here.
	searchL, wholeL       float64
	work                  int // of the search
	tries, labels, proven int // of the exact one
	pairs                 int // of starts, that were worked out
}{
	{20, 3, 1, 4743528.426695, 4743528.426695, 150836, 0, 0, 0, 1350},
	{1, 1, 12, 705.699182, 705.699182, 57809, 67, 34, 12, 1027},
	{1, 3, 8, 93.626498, 93.626498, 152912, 29, 23, 8, 1627},
	{2, 1, 8, 3610.436997, 3497.451837, 838823, 1164, 349, 8, 1998},
	{2, 2, 8, 660034.645122, 649470.651139, 1188103, 113808, 9379, 7, 2919},
	{3, 2, 5, 765.756771, 762.276921, 751683, 37265, 3438, 5, 3116},
	{4, 1, 3, 215674.582756, 186376.822083, 403708, 41570, 6558, 3, 1058},
	{4, 2, 3, 1159.264949, 1159.264949, 451093, 3224, 322, 3, 1973},
	{5, 3, 3, 9646.731833, 9575.239280, 452132, 46010, 1230, 0, 2220},
	{6, 1, 1, 13626579.196241, 13626579.196241, 150094, 72198, 5809, 0, 924},
	{8, 2, 3, 5181.824518, 5181.824518, 451328, 0, 0, 0, 2336},
	{7, 3, 2, 10506101.789730, 10506101.789730, 303349, 0, 0, 0, 1843},
	{9, 3, 2, 53622.198903, 53622.198903, 301072, 0, 0, 0, 2289},
	{10, 2, 2, 25419092.518946, 25419092.518946, 301089, 0, 0, 0, 1784},
	{12, 4, 2, 120530.316744, 120530.316744, 302238, 0, 0, 0, 3494},
	{15, 3, 2, 146741.037822, 146741.037822, 301647, 0, 0, 0, 2775},
}

// Nothing makes plans dearer than they were, and the search takes the same steps every time: as
// many. Processors that add up otherwise than amd64 may go other ways.
func TestPlansAreNoWorseThanTheyWere(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the figures are of amd64")
	}
	for _, b := range bench {
		search, whole, work, tries, labels, proven, pairs := 0.0, 0.0, 0, 0, 0, 0, 0
		for seed := range uint64(b.bushes) {
			req := randomBush(seed+100, b.groups, b.helpers)
			p, n := newProblem(&req), float64(b.bushes)
			s := newSearch(p)
			s.run()
			best := s.best
			search, work = search+math.Log1p(s.cost)/n, work+s.work
			if e := newExact(p, s.cost); e != nil {
				if better := e.run(); better != nil {
					best = better
				}
				if e.proven {
					proven++
				}
				tries, labels = tries+e.tries, labels+len(e.labels)
			}
			for _, table := range p.tables {
				pairs += table.count
			}
			whole += math.Log1p(p.cost(best, newDesk(p))) / n
		}
		search, whole = math.Expm1(search), math.Expm1(whole)
		const slack = 1e-7 // of how machines add up
		dearer := search > b.searchL*(1+slack) || whole > b.wholeL*(1+slack) || proven < b.proven
		stale := search < 0.99*b.searchL || whole < 0.99*b.wholeL
		if dearer || stale || work != b.work || tries != b.tries || labels != b.labels || pairs != b.pairs {
			t.Errorf("{%d, %d, %d, %.6f, %.6f, %d, %d, %d, %d, %d},", b.groups, b.helpers, b.bushes, search, whole, work, tries, labels, proven, pairs)
		}
	}
}
