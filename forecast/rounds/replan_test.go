package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// visitsOfPart are the starts at which a schedule visits a part, and how many outings go to
// nothing else.
func visitsOfPart(s schedule, a int) (starts []int, alone int) {
	for _, o := range s {
		if slices.Contains(o.parts, a) {
			if starts = append(starts, o.start); len(o.parts) == 1 && o.pin < 0 {
				alone++
			}
		}
	}
	return starts, alone
}

// besides are all ways to visit a part once more, or once less, and with moved also those
// to do both.
func besides(p *problem, s schedule, a int, moved bool) []schedule {
	var out []schedule
	for k := range s {
		if !slices.Contains(s[k].parts, a) && !p.closed(&s[k]) {
			x := slices.Clone(s)
			x[k].parts = append(slices.Clone(s[k].parts), a)
			out = append(out, x)
		}
		if slices.Contains(s[k].parts, a) && !p.asksFor(&s[k], a) {
			x := slices.Clone(s)
			x[k].parts = slices.DeleteFunc(slices.Clone(s[k].parts), func(b int) bool { return b == a })
			if len(x[k].parts) == 0 && x[k].pin < 0 {
				x = slices.Delete(x, k, k+1)
			}
			if out = append(out, x); moved {
				out = append(out, besides(p, x, a, false)...)
			}
		}
	}
	for j := range p.starts {
		for h := range p.helpers {
			for g := -1; g < h; g++ {
				if p.canStart(h, j) && (g < 0 || p.canStart(g, j)) {
					out = append(out, s.with(outing{start: j, who: [2]int{h, g}, pin: -1, parts: []int{a}}))
				}
			}
		}
	}
	return out
}

// One part that is planned anew beside all others is visited as is best for it: no other one
// visit or two are cheaper, nor is one more, one less, or one at another time.
func TestOnePartIsPlannedAsIsBest(t *testing.T) {
	looked, skipped, kept := 0, 0, 0
	for _, size := range [][2]int{{1, 1}, {2, 2}, {3, 2}, {2, 3}} {
		plainBushes(t, 24, size[0], size[1], func(seed uint64, req *PlanRequest, p *problem) {
			if req.Store.CapacityL > 0 {
				return // what it takes is known about
			}
			rng, w, search := rand.New(rand.NewPCG(seed, 6)), newDesk(p), newSearch(p)
			for n := range 8 {
				x := anySchedule(p, rng, 5)
				if n == 0 {
					x = p.asked()
				}
				if math.IsInf(p.cost(x, w), 1) {
					continue
				}
				a, opening := rng.IntN(len(p.parts)), 1.0
				if n%2 == 1 {
					opening = 1.2 * rng.Float64()
				}
				before := slices.Clone(x)
				base := slices.Clone(search.base(x, a))
				again := slices.Clone(base)
				p.cost(again, w)
				for k := range base {
					if !near(base[k].sapL, again[k].sapL) || !near(base[k].walk, again[k].walk) || base[k].trips != again[k].trips {
						t.Fatalf("seed %d, %v: without %d %+v, and it is %+v", seed, size, a, base[k], again[k])
					}
				}
				y, cost := search.replan(x, a, opening)
				if y == nil {
					if y = x; len(search.path) != len(search.was) {
						kept++
						continue
					}
				} else if !near(cost, p.cost(y, w)) || math.IsInf(cost, 1) {
					t.Fatalf("seed %d, %v: it says %g, and it costs %g", seed, size, cost, p.cost(y, w))
				}
				starts, alone := visitsOfPart(y, a)
				if len(starts) != len(search.path) {
					skipped++ // one helper would have had to be out twice at once
					continue
				}
				if !slices.EqualFunc(x, before, func(a, b outing) bool { return slices.Equal(a.parts, b.parts) && a.start == b.start }) {
					t.Fatalf("seed %d: what was given is changed", seed)
				}
				looked++
				// What opening a round costs is a share of a trip here.
				dear := func(s schedule, alone int) float64 {
					return p.cost(s, w) + p.costs.TripWorthL*(opening-1)*float64(alone)
				}
				least := dear(y, alone)
				bare := p.withoutPart(x, a)
				others := append(besides(p, bare, a, false), bare)
				for _, z := range slices.Clone(others) {
					if len(p.starts) < 14 {
						others = append(others, besides(p, z, a, false)...)
					}
				}
				for _, z := range append(others, besides(p, y, a, true)...) {
					if _, alone := visitsOfPart(z, a); dear(z, alone) < least-1e-6-1e-9*least {
						t.Fatalf("seed %d, %v, part %d opened at %.2f: %.4f, and %.4f would be\n%+v\n%+v", seed, size, a, opening, least, dear(z, alone), y, z)
					}
				}
			}
		})
	}
	t.Logf("%d looked at, %d skipped, %d kept", looked, skipped, kept)
	if looked < 200 || skipped+kept > looked/5 {
		t.Errorf("%d were looked at, %d not: they show little", looked, skipped+kept)
	}
}
