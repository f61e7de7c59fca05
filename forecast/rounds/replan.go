package rounds

import (
	"math"
	"slices"
)

// node is a visit that one part could have: on a round that there is, or on a new one.
type node struct {
	start, outing int // -1: a new round
	forced        bool
	cost          float64 // least, with this visit the last
	from          int     // node before it, -1
	least         float64 // cost of any node up to it
	who           [2]int  // of a new round on the path
}

// visit is one that a part had before it is planned anew.
type visit struct {
	start int
	who   [2]int
	pin   int
}

// replan plans one part's visits anew against those of all others, which stay: the best
// for it by dynamic programming over pairs of neighbouring visits. opening is the share of a
// trip's worth that opening a round costs. The schedule was looked at by cost and fits; the
// outcome may be dearer. It is nil where nothing else fits or is better.
func (s *search) replan(x schedule, a int, opening float64) (schedule, float64) {
	base := s.base(x, a)
	s.crew.fill(s.problem, base)
	s.fillLimits(base)
	s.room = s.roomBeside(base)
	s.fillNodes(base, a)
	for b := range s.nodes {
		n := &s.nodes[b]
		n.cost, n.from = math.Inf(1), -1
		s.visitFrom(base, a, b, opening)
		n.least = n.cost
		if b > 0 {
			n.least = min(n.least, s.nodes[b-1].least)
		}
	}
	return s.follow(base, a, s.lastVisit(a))
}

// lastVisit is the node that is best the last, -1 if no visit is best.
func (s *search) lastVisit(a int) int {
	one, end := &s.parts[a], len(s.starts)
	least, last := math.Inf(1), -1
	for b := len(s.nodes) - 1; b >= 0; b-- {
		n := &s.nodes[b]
		if n.least+one.share*s.atLeast(a, n.start, end) >= least {
			if s.emptied(a, n.start) { // nor would an earlier one do
				break
			}
		} else if n.cost < least {
			if after := one.share * s.at(a, n.start, end).price; n.cost+after < least {
				least, last = n.cost+after, b
			}
		}
		if n.forced {
			return last
		}
	}
	if s.forced == len(s.nodes) && one.share*s.at(a, -1, end).price <= least {
		return -1
	}
	return last
}

// visitFrom finds the visit that best comes before node b.
func (s *search) visitFrom(base schedule, a, b int, opening float64) {
	n, one := &s.nodes[b], &s.parts[a]
	for c := b - 1; c >= 0; c-- {
		m := &s.nodes[c]
		s.work++
		if m.start != n.start {
			// What an earlier visit leaves to be lost is no less, but where this one leaves ice.
			least := one.share * s.atLeast(a, m.start, n.start)
			if m.least+least >= n.cost && s.emptied(a, m.start) {
				break
			}
			if m.cost+least+one.walkL < n.cost {
				if cost := m.cost + s.step(base, a, m.start, n, opening); cost < n.cost {
					n.cost, n.from = cost, c
				}
			}
		}
		if m.forced {
			return
		}
	}
	if b > s.forced {
		return
	}
	if cost := s.step(base, a, -1, n, opening); cost < n.cost {
		n.cost, n.from = cost, -1
	}
}

// base is a schedule without the part, also where somebody asked for it; it stands until
// the next.
func (s *search) base(x schedule, a int) schedule {
	s.besides, s.was = s.besides[:0], s.was[:0]
	one, last := &s.parts[a], -1
	for _, o := range x {
		if k := slices.Index(o.parts, a); k >= 0 {
			s.was = append(s.was, visit{o.start, o.who, o.pin})
			o.parts = slices.Concat(o.parts[:k], o.parts[k+1:])
			if len(o.parts) == 0 {
				o.sapL, o.walk = 0, 0
			} else if last < o.start {
				o.sapL = max(o.sapL-one.share*s.at(a, last, o.start).sapL, 0)
				o.walk -= one.takes(s.people(&o))
			}
			o.trips, last = s.trips(o.sapL), o.start
		}
		if len(o.parts) > 0 || o.pin >= 0 {
			s.besides = append(s.besides, o)
		}
	}
	return s.besides
}

func (s *search) fillLimits(base schedule) {
	s.limits = s.limits[:0]
	for k := range base {
		s.limits = append(s.limits, s.limit(base, k)-s.starts[base[k].start])
	}
}

// roomBeside is how much more sap the store takes at each start, about: cost has the
// last word.
func (p *problem) roomBeside(s schedule) []float64 {
	capacity := p.req.Store.CapacityL
	if capacity <= 0 {
		return p.endless
	}
	room := make([]float64, len(p.starts))
	content, at, k := p.req.Store.HeldL, 0, 0
	for j, m := range p.starts {
		content, at = max(content-p.boils(at, m), 0), m
		for ; k < len(s) && s[k].start == j; k++ {
			content = min(content+s[k].sapL, capacity)
		}
		room[j] = capacity - content
	}
	for j := len(p.starts) - 2; j >= 0; j-- {
		// What the pan takes out of what is there by then it does not take out of more.
		spare := max(p.boils(p.starts[j], p.starts[j+1])-(capacity-room[j]), 0)
		room[j] = min(room[j], room[j+1]+spare)
	}
	return room
}

func (s *search) fillNodes(base schedule, a int) {
	s.nodes = s.nodes[:0]
	one, k := &s.parts[a], 0
	for j := range s.starts {
		if s.crew.whoFor(s.problem, one, j, 1)[0] >= 0 {
			s.nodes = append(s.nodes, node{start: j, outing: -1})
		}
		forced := -1
		for ; k < len(base) && base[k].start == j; k++ {
			switch {
			case s.asksFor(&base[k], a):
				forced = k
			case !s.closed(&base[k]) && s.took(one, &base[k], base[k].trips) <= s.limits[k]:
				s.nodes = append(s.nodes, node{start: j, outing: k})
			}
		}
		if forced >= 0 {
			s.nodes = append(s.nodes, node{start: j, outing: forced, forced: true})
		}
	}
	s.forced = slices.IndexFunc(s.nodes, func(n node) bool { return n.forced })
	if s.forced < 0 {
		s.forced = len(s.nodes)
	}
}

// step is what a visit costs after one at start i.
func (s *search) step(base schedule, a, i int, n *node, opening float64) float64 {
	one, c := &s.parts[a], s.at(a, i, n.start)
	sap := one.share * c.sapL
	cost := one.share*c.price + one.walkL
	if n.outing < 0 {
		trips := s.trips(sap)
		if sap > s.room[n.start] || trips > 1 && s.crew.whoFor(s.problem, one, n.start, trips)[0] < 0 {
			return math.Inf(1)
		}
		return cost + s.costs.TripWorthL*(opening+float64(trips-1))
	}
	o := &base[n.outing]
	trips := s.trips(o.sapL + sap)
	if !n.forced {
		if s.took(one, o, trips) > s.limits[n.outing] || sap > s.room[n.start] {
			return math.Inf(1)
		}
	}
	return cost + s.costs.TripWorthL*float64(trips-o.trips)
}

// took is how long an outing takes with one more part and so many trips.
func (s *search) took(one *part, o *outing, trips int) int {
	return minutesOf(o.walk + one.takes(s.people(o)) + s.costs.TripMinutes*float64(trips))
}

// follow makes the visits that lead to a node. Where they do not fit together, as when one
// helper would be out twice at once, those that still fit are made.
func (s *search) follow(base schedule, a, last int) (schedule, float64) {
	s.path = s.path[:0]
	for b := last; b >= 0; b = s.nodes[b].from {
		s.path = append(s.path, s.nodes[b])
	}
	slices.Reverse(s.path)
	i, same := -1, len(s.path) == len(s.was)
	for k := range s.path {
		n := &s.path[k]
		v := visit{n.start, n.who, -1}
		if n.outing >= 0 {
			v = visit{n.start, base[n.outing].who, base[n.outing].pin}
		} else {
			trips := s.trips(s.parts[a].share * s.at(a, i, n.start).sapL)
			n.who = s.crew.whoFor(s.problem, &s.parts[a], n.start, trips)
			v.who = n.who
		}
		same = same && v == s.was[k]
		i = n.start
	}
	if same {
		return nil, 0
	}
	x := slices.Clone(base)
	for _, n := range s.path {
		if n.outing >= 0 {
			x[n.outing].parts = append(slices.Clip(x[n.outing].parts), a)
		}
	}
	for _, n := range s.path {
		if n.outing < 0 {
			x = x.with(outing{start: n.start, who: n.who, pin: -1, parts: []int{a}})
		}
	}
	if cost := s.worth(x); !math.IsInf(cost, 1) {
		return x, cost
	}
	if len(s.path) < 2 {
		return nil, 0
	}
	return s.piecewise(base, a)
}

// piecewise makes those visits of a path that fit beside the ones before.
func (s *search) piecewise(base schedule, a int) (schedule, float64) {
	x := slices.Clone(base)
	for k := range x {
		if s.asksFor(&x[k], a) {
			x[k].parts = append(slices.Clip(x[k].parts), a)
		}
	}
	least := s.worth(x)
	if math.IsInf(least, 1) {
		return nil, 0
	}
	for _, n := range s.path {
		var y schedule
		switch {
		case n.forced:
			continue
		case n.outing >= 0:
			y = slices.Clone(x)
			k := slices.IndexFunc(y, func(o outing) bool {
				b := &base[n.outing]
				return o.start == b.start && o.who == b.who && o.pin == b.pin
			})
			y[k].parts = append(slices.Clip(y[k].parts), a)
		default:
			s.crew.fill(s.problem, x)
			w := s.crew.whoFor(s.problem, &s.parts[a], n.start, 1)
			if w[0] < 0 {
				continue
			}
			y = x.with(outing{start: n.start, who: w, pin: -1, parts: []int{a}})
		}
		if cost := s.worth(y); !math.IsInf(cost, 1) {
			x, least = y, cost
		}
	}
	return x, least
}
