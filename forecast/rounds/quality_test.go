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
	{20, 3, 1, 2335537.962142, 2335537.962142, 150384, 0, 0, 0, 1390},
	{1, 1, 12, 669.008872, 669.008872, 55845, 59, 31, 12, 1026},
	{1, 3, 8, 87.185766, 87.185766, 152510, 25, 21, 8, 1629},
	{2, 1, 8, 3368.063318, 3270.622399, 754752, 1111, 330, 8, 1973},
	{2, 2, 8, 511074.108889, 508407.519182, 1159618, 128210, 10527, 7, 2911},
	{3, 2, 5, 642.308335, 639.606604, 751727, 25805, 2264, 5, 3064},
	{4, 1, 3, 195835.890240, 170069.913372, 428569, 24531, 3589, 3, 1049},
	{4, 2, 3, 1246.966412, 1136.679503, 451156, 52607, 4387, 3, 1972},
	{5, 3, 3, 9348.772681, 9348.772681, 451571, 32264, 933, 1, 2250},
	{6, 1, 1, 13116591.307895, 13116591.307895, 150065, 73899, 6239, 0, 931},
	{8, 2, 3, 5584.697010, 5584.697010, 451246, 0, 0, 0, 2549},
	{7, 3, 2, 11319017.828375, 11319017.828375, 301545, 0, 0, 0, 2095},
	{9, 3, 2, 49918.350959, 49918.350959, 300748, 0, 0, 0, 2211},
	{10, 2, 2, 34779912.906566, 34779912.906566, 301073, 0, 0, 0, 1907},
	{12, 4, 2, 132513.196297, 132513.196297, 301053, 0, 0, 0, 3588},
	{15, 3, 2, 139843.226216, 139843.226216, 301202, 0, 0, 0, 2720},
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
