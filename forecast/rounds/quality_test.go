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
	{20, 3, 1, 4003564.195508, 4003564.195508, 150049, 0, 0, 0, 1487},
	{1, 1, 12, 706.931243, 706.931243, 57623, 64, 34, 12, 1027},
	{1, 3, 8, 94.729866, 94.729866, 152975, 33, 25, 8, 1631},
	{2, 1, 8, 3636.574774, 3502.607947, 847580, 1142, 352, 8, 1996},
	{2, 2, 8, 650197.188354, 639790.583615, 1189066, 113370, 9387, 7, 2925},
	{3, 2, 5, 792.445502, 773.900853, 752492, 88823, 8158, 4, 3170},
	{4, 1, 3, 214477.243675, 186812.756177, 403675, 33568, 5238, 3, 1058},
	{4, 2, 3, 1327.249272, 1171.525175, 450799, 31025, 2851, 3, 1984},
	{5, 3, 3, 9685.292444, 9639.231229, 452531, 41948, 1142, 0, 2181},
	{6, 1, 1, 13626584.635085, 13626584.635085, 150041, 72198, 5887, 0, 929},
	{8, 2, 3, 5182.831887, 5182.831887, 451203, 0, 0, 0, 2470},
	{7, 3, 2, 10225360.958749, 10225360.958749, 301787, 0, 0, 0, 1956},
	{9, 3, 2, 54018.874950, 54018.874950, 300710, 0, 0, 0, 2268},
	{10, 2, 2, 25419001.700660, 25419001.700660, 300906, 0, 0, 0, 1847},
	{12, 4, 2, 121766.569090, 121766.569090, 301640, 0, 0, 0, 3606},
	{15, 3, 2, 147853.584995, 147853.584995, 301377, 0, 0, 0, 2849},
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
