package rounds

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// A new round takes along what saves most for its minutes, as far as hours go, and is worth what
// it makes the rest cheaper.
func TestANewRoundIsWorthWhatItSaves(t *testing.T) {
	looked, full := 0, 0
	for _, size := range [][2]int{{2, 1}, {3, 2}} {
		plainBushes(t, 30, size[0], size[1], func(seed uint64, req *PlanRequest, p *problem) {
			if req.Store.CapacityL > 0 {
				return
			}
			req.Costs.CarryL, p.costs.CarryL = 0, 0 // trips of later rounds stay as they are
			rng, s, w := rand.New(rand.NewPCG(seed, 11)), newSearch(p), newDesk(p)
			for range 4 {
				x := anySchedule(p, rng, 3)
				w.end = len(p.starts)
				if len(x) == 0 || math.IsInf(p.cost(x, w), 1) {
					continue
				}
				end := min(len(p.starts), x[len(x)-1].start+1+rng.IntN(6))
				w.end = end
				before := p.cost(x, w)
				s.crew.fill(p, x)
				s.fillVisits(x)
				for j := range end {
					for n, c := range []crewFree{s.crew.single[j], s.crew.pair[j]} {
						if c.who[0] < 0 {
							continue
						}
						// What each part saves alone, the trip aside, and for each minute.
						saves, rates := make([]float64, len(p.parts)), make([]float64, len(p.parts))
						for a := range p.parts {
							if !slices.Contains(visitsBy(x, a), j) {
								y := slices.Clone(x)
								y = y.with(outing{start: j, who: [2]int{0, -1}, pin: -1, parts: []int{a}})
								for k := range y { // hours aside
									if y[k].pin < 0 && y[k].start == j {
										y[k].who = c.who
									}
								}
								cost := costAnyhow(p, y, end)
								saves[a] = before - cost + p.costs.TripWorthL
								rates[a] = saves[a] / (p.parts[a].takes(n+1) + 1)
							}
						}
						o, worth, all := s.fullest(j, end, c)
						sum, left := -p.costs.TripWorthL, 0
						takes := 20.0
						for _, a := range o.parts {
							sum += saves[a]
							takes += p.parts[a].takes(n + 1)
						}
						if !near(worth, sum) || takes > float64(c.till-p.starts[j]) || o.start != j || o.who != c.who || o.pin != -1 {
							t.Fatalf("seed %d, %v: %+v is worth %g, and it saves %g in %g minutes", seed, size, o, worth, sum, takes)
						}
						for a := range p.parts {
							if slices.Contains(o.parts, a) {
								if saves[a] < 1e-9 {
									t.Fatalf("seed %d: %d is taken and saves %g", seed, a, saves[a])
								}
								continue
							}
							if saves[a] > 1e-6 {
								// It does not fit beside those that save more for their minutes.
								left++
								takes := 20 + p.parts[a].takes(n+1)
								for _, b := range o.parts {
									if rates[b] > rates[a]-1e-9 {
										takes += p.parts[b].takes(n + 1)
									}
								}
								if takes <= float64(c.till-p.starts[j]) {
									t.Fatalf("seed %d: %d would save %g, and is not taken: %+v", seed, a, saves[a], o)
								}
							}
						}
						if looked++; all != (left == 0) {
							t.Fatalf("seed %d: %t that %d are left", seed, all, left)
						}
						if left > 0 {
							full++
						}
					}
				}
			}
		})
	}
	if looked < 500 || full < 20 {
		t.Errorf("%d looked at, %d of them full: they show little", looked, full)
	}
}

// costAnyhow is what a schedule costs up to an end, whoever's hours it takes.
func costAnyhow(p *problem, s schedule, end int) float64 {
	sum, last := 0.0, make([]int, len(p.parts))
	for a := range last {
		last[a] = -1
	}
	for _, o := range s {
		for _, a := range o.parts {
			if last[a] == o.start {
				continue
			}
			sum += p.parts[a].share*p.at(a, last[a], o.start).price + p.parts[a].walkL
			last[a] = o.start
		}
		sum += p.costs.TripWorthL
	}
	for a, i := range last {
		if i < end {
			sum += p.parts[a].share * p.at(a, i, end).price
		}
	}
	return sum
}

// Whatever the search changes, it says what that costs, leaves what was promised, and does not
// touch what it began with.
func TestChangesAreWhatTheySay(t *testing.T) {
	changed := 0
	for _, size := range [][2]int{{1, 1}, {3, 2}, {2, 3}, {6, 2}} {
		for seed := range uint64(12) {
			req := randomBush(seed, size[0], size[1])
			p := newProblem(&req)
			if len(p.starts) == 0 || len(p.parts) < 2 {
				continue
			}
			s, w := newSearch(p), newDesk(p)
			s.dayByDay()
			for n := range 60 {
				x := s.best
				was := fmt.Sprint(x)
				y, cost := s.change()
				if fmt.Sprint(x) != was && n == 0 {
					t.Fatalf("seed %d, %v: %v became %v", seed, size, was, x)
				}
				if math.IsInf(cost, 1) {
					continue
				}
				z := slices.Clone(y)
				if got := p.cost(z, w); !near(got, cost) {
					t.Fatalf("seed %d, %v: it says %g, and it costs %g: %+v", seed, size, cost, got, y)
				}
				for k := range p.pins {
					if !slices.ContainsFunc(y, func(o outing) bool {
						return o.pin == k && o.start == p.pins[k].start && (!p.closed(&o) || slices.Equal(slices.Sorted(slices.Values(o.parts)), slices.Sorted(slices.Values(p.pins[k].parts))))
					}) {
						t.Fatalf("seed %d, %v: promise %d is gone: %+v", seed, size, k, y)
					}
				}
				if !slices.IsSortedFunc(y, func(a, b outing) int { return a.start - b.start }) {
					t.Fatalf("seed %d, %v: %+v", seed, size, y)
				}
				for _, o := range y {
					if len(o.parts) == 0 && o.pin < 0 {
						t.Fatalf("seed %d, %v: somebody goes nowhere: %+v", seed, size, y)
					}
				}
				if cost < s.cost*1.2+5 {
					s.best, s.cost = y, cost
					changed++
				}
			}
		}
	}
	if changed < 500 {
		t.Errorf("%d changes show little", changed)
	}
}
