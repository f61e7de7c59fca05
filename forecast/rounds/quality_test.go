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
	// them better by more than one in a hundred writes the new figures here.
	searchL, wholeL float64
	work, tries     int
	proven          int
}{
	{1, 1, 12, 669.008872, 669.008872, 55845, 59, 12},
	{1, 3, 8, 87.185766, 87.185766, 152510, 25, 8},
	{2, 1, 8, 3368.063318, 3270.622399, 754752, 1111, 8},
	{2, 2, 8, 511074.108889, 508407.519182, 1159618, 128210, 7},
	{3, 2, 6, 1739.611983, 1733.515567, 902363, 151394, 6},
	{4, 1, 6, 1683410.943292, 1537910.919898, 879121, 104499, 6},
	{5, 3, 4, 54221.524337, 50447.495494, 602119, 112338, 1},
	{8, 2, 4, 48413.084250, 48413.084250, 601377, 0, 0},
	{12, 4, 3, 509387.939807, 509387.939807, 452615, 0, 0},
}

// Nothing makes plans dearer than they were, or takes more looks to find them.
func TestPlansAreNoWorseThanTheyWere(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the figures are of amd64: others round otherwise, and the search goes other ways")
	}
	for _, b := range bench {
		search, whole, work, tries, proven := 0.0, 0.0, 0, 0, 0
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
				if tries += e.tries; e.proven {
					proven++
				}
			}
			whole += math.Log1p(p.cost(best, newDesk(p))) / n
		}
		search, whole = math.Expm1(search), math.Expm1(whole)
		const slack = 1e-7                                                         // of how machines add up
		other := func(was, is float64) bool { return math.Abs(was-is) > 0.01*was } // stale figures say nothing
		if search > b.searchL*(1+slack) || whole > b.wholeL*(1+slack) || proven < b.proven || other(b.searchL, search) ||
			other(b.wholeL, whole) || other(float64(b.work), float64(work)) || other(float64(b.tries), float64(tries)) {
			t.Errorf("{%d, %d, %d, %.6f, %.6f, %d, %d, %d}", b.groups, b.helpers, b.bushes, search, whole, work, tries, proven)
		}
	}
}
