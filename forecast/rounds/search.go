package rounds

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// search looks for a cheap schedule: rounds are opened where they save most, each
// part's visits are planned anew against those of all others, and then rounds, days and
// parts are taken out and put back in another order for as long as work allows.
type search struct {
	*problem
	desk   *desk
	rng    *rand.Rand
	best   schedule
	cost   float64
	work   int // cells of tables looked at, about
	most   int
	crew   crewTable
	visits [][]int // by part: starts, rising
	nodes  []node
	forced int // the first node that is; else as many as there are
	limits []int
	room   []float64
}

// The search is bounded by work, so that it comes to the same on every machine.
const (
	leastWork   = 300_000
	workAPart   = 12_000
	idleSteps   = 500 // without gain: enough
	nearStarts  = 8   // by which a round is put off or brought forward
	dayOfStarts = 24 * 60
)

func newSearch(p *problem) *search {
	s := &search{problem: p, desk: newDesk(p), rng: rand.New(rand.NewPCG(uint64(len(p.parts)), 18)), visits: make([][]int, len(p.parts))}
	s.most = max(leastWork, workAPart*len(p.parts))
	s.best = p.asked()
	s.cost = s.worth(s.best)
	return s
}

func (s *search) worth(x schedule) float64 {
	n := len(s.parts)
	for k := range x {
		n += len(x[k].parts)
	}
	s.work += 2 * n
	return s.problem.cost(x, s.desk)
}

// run leaves the best schedule that it found in best.
func (s *search) run() {
	if len(s.parts) == 0 || len(s.starts) == 0 {
		return
	}
	s.begin()
	steps := idleSteps
	if len(s.parts) == 1 { // planned anew it is as good as it can be: there is nothing to trade
		steps = 0
	}
	for idle := 0; idle < steps && s.work < s.most; idle++ {
		x, cost := s.change()
		if less(cost, s.cost) {
			idle = 0
		}
		if cost <= s.cost {
			s.best, s.cost = x, cost
		}
	}
	s.sweep(1)
}

// begin takes the better of two ways to begin: round by round through the days, or
// group by group.
func (s *search) begin() {
	empty, free := s.best, s.cost
	s.dayByDay()
	s.sweep(1)
	best, least := s.best, s.cost
	s.best, s.cost = empty, free
	s.sweep(0.5)
	s.open()
	s.sweep(1)
	if !less(s.cost, least) {
		s.best, s.cost = best, least
	}
}

// sweep plans each part anew until that helps no more.
func (s *search) sweep(opening float64) {
	for better := true; better && s.work < 2*s.most; {
		better = false
		for a := range s.parts {
			if x := s.replan(s.best, a, opening); x != nil {
				if cost := s.worth(x); less(cost, s.cost) || opening < 1 {
					s.best, s.cost, better = x, cost, opening == 1
				}
			}
		}
	}
}

// less says that a cost is lower by more than rounding.
func less(a, b float64) bool { return a < b-tiny-1e-12*b }

// change is a schedule near the best one.
func (s *search) change() (schedule, float64) {
	x := s.best
	switch pick := s.rng.IntN(10); {
	case pick < 4 && len(x) > 0:
		return s.shifted(x)
	case pick < 5 && len(x) > 1:
		return s.merged(x)
	case pick < 7 && len(x) > 0:
		o := x[s.rng.IntN(len(x))]
		return s.rebuilt(s.sparing(x, o.start, o.start+1), slices.Clone(o.parts))
	case pick < 8 && len(s.starts) > 0:
		from := s.rng.IntN(len(s.starts))
		to := from
		for to < len(s.starts) && s.starts[to] < s.starts[from]+dayOfStarts/2 {
			to++
		}
		var parts []int
		for _, o := range x {
			if o.start >= from && o.start < to {
				parts = append(parts, o.parts...)
			}
		}
		slices.Sort(parts)
		return s.rebuilt(s.sparing(x, from, to), slices.Compact(parts))
	default:
		var parts []int
		for range 1 + s.rng.IntN(min(len(s.parts), 4)) {
			a := s.rng.IntN(len(s.parts))
			if !slices.Contains(parts, a) {
				parts = append(parts, a)
				x = s.withoutPart(x, a)
			}
		}
		return s.rebuilt(x, parts)
	}
}

// sparing is a copy without the outings from one start until before another that
// nobody asked for.
func (s *search) sparing(x schedule, from, to int) schedule {
	return slices.DeleteFunc(slices.Clone(x), func(o outing) bool { return o.pin < 0 && o.start >= from && o.start < to })
}

// rebuilt plans parts anew in a random order, with a random share of what opening a
// round costs: the first of several parts that would share a round could not pay
// for it alone.
func (s *search) rebuilt(x schedule, parts []int) (schedule, float64) {
	s.rng.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
	opening := s.rng.Float64() * 1.2
	for pass := range 2 {
		for _, a := range parts {
			if y := s.replan(x, a, opening); y != nil {
				x = y
			}
		}
		if len(parts) < 2 || pass == 0 && len(parts) > 8 {
			break
		}
		opening = 1
	}
	return x, s.worth(x)
}

// shifted makes one round earlier or later, or lets others do it.
func (s *search) shifted(x schedule) (schedule, float64) {
	k := s.rng.IntN(len(x))
	o := x[k]
	if o.pin >= 0 {
		return x, math.Inf(1)
	}
	rest := slices.Delete(slices.Clone(x), k, k+1)
	if math.IsInf(s.worth(rest), 1) {
		return x, math.Inf(1)
	}
	s.crew.fill(s.problem, rest)
	o.start = min(max(o.start+s.rng.IntN(2*nearStarts+1)-nearStarts, 0), len(s.starts)-1)
	single, pair := s.crew.single[o.start], s.crew.pair[o.start]
	who := [][2]int{o.who, single.who, pair.who, {s.rng.IntN(len(s.helpers)), -1}}
	best, least := x, math.Inf(1)
	for n, w := range who {
		if w[0] < 0 || n > 0 && w == o.who {
			continue
		}
		o.who = w
		y := rest.with(o)
		if cost := s.worth(y); cost < least {
			best, least = y, cost
		}
	}
	return best, least
}

// merged takes the parts of one round along on another.
func (s *search) merged(x schedule) (schedule, float64) {
	i := s.rng.IntN(len(x))
	j := i + 1 + s.rng.IntN(4)
	if j >= len(x) {
		return x, math.Inf(1)
	}
	if s.rng.IntN(2) == 0 {
		i, j = j, i
	}
	if x[j].pin >= 0 || s.closed(&x[i]) {
		return x, math.Inf(1)
	}
	y := slices.Clone(x)
	for _, a := range x[j].parts {
		if !slices.Contains(y[i].parts, a) {
			y[i].parts = append(slices.Clip(y[i].parts), a)
		}
	}
	y = slices.Delete(y, j, j+1)
	return y, s.worth(y)
}

// dayByDay opens rounds on one day after the other, looking no further than the
// end of the next.
func (s *search) dayByDay() {
	for from := 0; from < len(s.starts); {
		to := from
		for to < len(s.starts) && s.starts[to] < s.starts[from]+dayOfStarts*3/4 {
			to++
		}
		next := to
		for next < len(s.starts) && s.starts[next] < s.starts[from]+dayOfStarts*7/4 {
			next++
		}
		s.desk.end = next
		s.cost = s.worth(s.best)
		s.openIn(from, to, next)
		from = to
	}
	s.desk.end = len(s.starts)
	s.cost = s.worth(s.best)
}

// open opens rounds as long as that helps, most worth first.
func (s *search) open() { s.openIn(0, len(s.starts), len(s.starts)) }

func (s *search) openIn(from, to, end int) {
	type offer struct {
		o    outing
		gain float64
	}
	for range 4 * len(s.starts) {
		if math.IsInf(s.worth(s.best), 1) {
			return
		}
		s.crew.fill(s.problem, s.best)
		s.fillVisits(s.best)
		var offers []offer
		for j := from; j < to; j++ {
			for _, c := range []crewFree{s.crew.single[j], s.crew.pair[j]} {
				if c.who[0] < 0 {
					continue
				}
				o, gain, all := s.fullest(j, end, c)
				if gain > 0 {
					offers = append(offers, offer{o, gain})
				}
				if all { // two could do no more
					break
				}
			}
		}
		slices.SortStableFunc(offers, func(a, b offer) int { return cmp.Compare(b.gain, a.gain) })
		found := false
		for _, f := range offers[:min(len(offers), 4)] {
			x := s.best.with(f.o)
			if cost := s.worth(x); less(cost, s.cost) {
				s.best, s.cost, found = x, cost, true
				break
			}
		}
		if !found {
			return
		}
	}
}

// fullest is a new round at a start with the parts for which it saves most, what it is
// worth up to an end, and whether that are all for which it saves anything.
func (s *search) fullest(j, end int, c crewFree) (o outing, worthL float64, all bool) {
	type gainOf struct {
		part       int
		gain, rate float64
		sapL       float64
	}
	people := 1
	if c.who[1] >= 0 {
		people = 2
	}
	var gains []gainOf
	for a := range s.parts {
		one := &s.parts[a]
		k, there := slices.BinarySearch(s.visits[a], j)
		if there {
			continue
		}
		from, to := -1, end
		if k > 0 {
			from = s.visits[a][k-1]
		}
		if k < len(s.visits[a]) {
			to = min(s.visits[a][k], end)
		}
		most := one.share * s.at(a, from, to).price
		if most <= one.walkL {
			continue
		}
		c := s.at(a, from, j)
		gain := most - one.share*(c.price+s.at(a, j, to).price) - one.walkL
		if gain > 0 {
			gains = append(gains, gainOf{a, gain, gain / (one.takes(people) + 1), one.share * c.sapL})
		}
	}
	s.work += 3 * len(s.parts)
	slices.SortStableFunc(gains, func(x, y gainOf) int { return cmp.Compare(y.rate, x.rate) })
	o = outing{start: j, who: c.who, pin: -1}
	sap, walk, sum := 0.0, 0.0, 0.0
	for _, g := range gains {
		w := walk + s.parts[g.part].takes(people)
		if w+s.costs.TripMinutes*float64(s.trips(sap+g.sapL)) > float64(c.till-s.starts[j]) {
			continue
		}
		sap, walk, sum = sap+g.sapL, w, sum+g.gain
		o.parts = append(o.parts, g.part)
	}
	return o, sum - s.costs.TripWorthL*float64(s.trips(sap)), len(o.parts) == len(gains)
}

func (s *search) fillVisits(x schedule) {
	for a := range s.visits {
		s.visits[a] = s.visits[a][:0]
	}
	for k := range x {
		for _, a := range x[k].parts {
			s.visits[a] = append(s.visits[a], x[k].start)
		}
	}
}
