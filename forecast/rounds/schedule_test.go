package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// anySchedule is a few outings of anybody to anything, with what was asked for among them.
func anySchedule(p *problem, rng *rand.Rand, most int) schedule {
	s := p.asked()
	for k := range s {
		for _, a := range rng.Perm(len(p.parts)) {
			if !p.closed(&s[k]) && rng.IntN(2) == 0 {
				s[k].parts = append(s[k].parts, a)
			}
		}
	}
	for range 1 + rng.IntN(most) {
		o := outing{start: rng.IntN(len(p.starts)), who: [2]int{rng.IntN(len(p.helpers)), -1}, pin: -1}
		if other := rng.IntN(len(p.helpers)); other != o.who[0] && rng.IntN(2) == 0 {
			o.who[1] = other
		}
		for _, a := range rng.Perm(len(p.parts)) {
			if len(o.parts) == 0 || rng.IntN(3) == 0 {
				o.parts = append(o.parts, a)
			}
		}
		asked := func(q outing) bool { return q.start == o.start && q.pin >= 0 }
		if !slices.ContainsFunc(s, asked) && p.canStart(o.who[0], o.start) && (o.who[1] < 0 || p.canStart(o.who[1], o.start)) {
			s = s.with(o)
		}
	}
	return s
}

// plainBushes are random ones whose groups are whole and whose rounds start on the hour, as the
// enumeration knows them.
func plainBushes(t *testing.T, seeds uint64, groups, helpers int, do func(seed uint64, req *PlanRequest, p *problem)) {
	t.Helper()
	for seed := range seeds {
		req := randomBush(seed, groups, helpers)
		for k := range req.Pins {
			if seed%2 == 1 { // the plan chooses
				req.Pins[k].Groups = nil
			}
		}
		if p := newProblem(&req); len(p.parts) == groups && len(p.starts) > 0 {
			do(seed, &req, p)
		}
	}
}

// naiveCost is what a schedule costs outing by outing, infinite where one cannot be.
func naiveCost(p *problem, n *naive, s schedule) float64 {
	state := naiveState{last: [3]int{-1, -1, -1}, contentL: n.req.Store.HeldL}
	for _, o := range s {
		m, set := naiveMove{hour: p.starts[o.start] / 60, pinned: o.pin >= 0}, 0
		for _, h := range o.who {
			if h >= 0 {
				m.who = append(m.who, h)
			}
		}
		if o.pin >= 0 {
			m.who = []int{0}
		}
		for _, a := range o.parts {
			set |= 1 << a
		}
		after, ok := n.made(m, set, state)
		if !ok {
			return math.Inf(1)
		}
		if state = after; o.pin >= 0 && !p.closed(&o) && set != 0 && state.busy[0] > float64(p.pins[o.pin].till) {
			return math.Inf(1)
		}
	}
	for g := range n.req.Groups {
		state.cost += n.between(g, state.last[g], 96)[0]
	}
	return state.cost
}

// What any schedule costs is what it comes to outing by outing, and one that does not fit into
// people's hours or the store costs without end.
func TestCostOfAnySchedule(t *testing.T) {
	fit, not, filled := 0, 0, 0
	for _, size := range [][2]int{{1, 1}, {2, 2}, {3, 3}, {2, 3}} {
		plainBushes(t, 30, size[0], size[1], func(seed uint64, req *PlanRequest, p *problem) {
			rng := rand.New(rand.NewPCG(seed, 5))
			n, w := newNaive(req, math.Inf(1)), newDesk(p)
			n.grid = hoursOf(p)
			for range 60 {
				s := anySchedule(p, rng, 4)
				got, want := p.cost(s, w), naiveCost(p, n, s)
				if math.IsInf(got, 1) != math.IsInf(want, 1) || !math.IsInf(want, 1) && math.Abs(got-want) > 1e-4 {
					t.Fatalf("seed %d, %v: %+v costs %g, and it is %g", seed, size, s, got, want)
				}
				if math.IsInf(got, 1) {
					not++
					if req.Store.CapacityL > 0 {
						filled++
					}
					continue
				}
				fit++
				besideOf(t, seed, p, s)
			}
		})
	}
	if fit < 1000 || not < 1000 || filled < 100 {
		t.Errorf("%d fit, %d do not, %d where there is a store: they show little", fit, not, filled)
	}
}

// tillOf is until when a helper could be out from a start on, beside a schedule; 0 if not at all.
func tillOf(p *problem, s schedule, h, j int) int {
	at, till := p.starts[j], p.helpers[h].till[j]
	for k := range s {
		if !p.goes(&s[k], h) {
			continue
		}
		from := p.starts[s[k].start]
		if from <= at && at < from+p.lasts(&s[k]) || from == at {
			return 0
		}
		if from > at {
			till = min(till, from)
		}
	}
	return till
}

// besideOf holds what the search believes of who is free beside a schedule, how long its
// outings may last and what the store takes against each helper's hours and each hour's sap.
func besideOf(t *testing.T, seed uint64, p *problem, s schedule) {
	t.Helper()
	var crew crewTable
	crew.fill(p, s)
	minutes := make([]int, len(p.helpers))
	for k := range s {
		for h := range minutes {
			if p.goes(&s[k], h) {
				minutes[h] += p.lasts(&s[k])
			}
		}
	}
	for j, m := range p.starts {
		var tills []int
		for h := range p.helpers {
			tills = append(tills, tillOf(p, s, h, j))
		}
		sorted := slices.Sorted(slices.Values(tills))
		slices.Reverse(sorted)
		one, two := crew.single[j], crew.pair[j]
		if one.till != sorted[0] || (one.who[0] >= 0) != (sorted[0] > 0) || one.who[1] != -1 {
			t.Fatalf("seed %d, start %d: %+v of %v", seed, j, one, tills)
		}
		for h, till := range tills {
			if till > 0 && till == sorted[0] && (tills[one.who[0]] != till || minutes[h] < minutes[one.who[0]]) {
				t.Fatalf("seed %d, start %d: %+v of %v, who were out %v", seed, j, one, tills, minutes)
			}
		}
		both := 0
		if len(sorted) > 1 {
			both = sorted[1]
		}
		if two.till != both || (two.who[0] >= 0) != (both > 0) || (two.who[1] >= 0) != (both > 0) ||
			both > 0 && (two.who[0] == two.who[1] || min(tills[two.who[0]], tills[two.who[1]]) != both) {
			t.Fatalf("seed %d, start %d: %+v of %v", seed, j, two, tills)
		}
		for a := range p.parts {
			for trips := 1; trips < 4; trips++ {
				need := func(people int) bool {
					return sorted[people-1] > 0 && float64(m)+p.parts[a].takes(people)+20*float64(trips) <= float64(sorted[people-1])+1e-9
				}
				who := crew.whoFor(p, &p.parts[a], j, trips)
				want := [2]int{-1, -1}
				if need(1) {
					want = one.who
				} else if len(sorted) > 1 && need(2) {
					want = two.who
				}
				if who != want || crew.canTake(p, &p.parts[a], j, trips) != (want[0] >= 0) {
					t.Fatalf("seed %d, start %d, %d trips: %v, not %v of %v", seed, j, trips, who, want, tills)
				}
			}
		}
	}
	for k := range s {
		o := &s[k]
		till := math.MaxInt
		switch {
		case p.closed(o):
			till = 2 * p.minutes // nobody asks
		case o.pin >= 0:
			till = p.pins[o.pin].till
		}
		for h := range p.helpers {
			if p.goes(o, h) {
				if o.pin < 0 {
					till = min(till, p.helpers[h].till[o.start])
				}
				for n := range s {
					if from := p.starts[s[n].start]; from > p.starts[o.start] && p.goes(&s[n], h) {
						till = min(till, from)
					}
				}
			}
		}
		if got := p.limit(s, k); got != till {
			t.Fatalf("seed %d: %+v may last until %d, not %d", seed, *o, got, till)
		}
	}
	room := p.roomBeside(s)
	if p.req.Store.CapacityL <= 0 {
		if len(room) != len(p.starts) || !math.IsInf(slices.Min(room), 1) {
			t.Fatalf("seed %d: %v of no store", seed, room)
		}
		return
	}
	for j, r := range room {
		if r > 0.02 && !storeTakes(p, s, j, r-0.01) || r < math.Inf(1) && storeTakes(p, s, j, r+0.01) {
			t.Fatalf("seed %d, start %d: %g L more, of %+v", seed, j, r, s)
		}
	}
}

// storeTakes says whether the store runs over no more with so much more sap at a start.
func storeTakes(p *problem, s schedule, j int, moreL float64) bool {
	runsOver := func(moreL float64) (over float64) {
		content, hour, k := p.req.Store.HeldL, 0, 0
		for i, m := range p.starts {
			for ; hour < m/60; hour++ {
				content = max(content-p.req.Store.BoiledL[hour], 0)
			}
			for ; k < len(s) && s[k].start == i; k++ {
				content += s[k].sapL
			}
			if i == j {
				content += moreL
			}
			over += max(content-p.req.Store.CapacityL, 0)
			content = min(content, p.req.Store.CapacityL)
		}
		return over
	}
	return runsOver(moreL) <= runsOver(0)+1e-6
}
