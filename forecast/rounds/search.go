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
	path   []node
	forced int // the first node that is; else as many as there are
	// Of a part that is planned anew: the schedule without it, and the visits that it had.
	besides schedule
	was     []visit
	gains   []gain
	limits  []int
	room    []float64
}

// The search is bounded by work, so that it comes to the same on every machine.
const (
	leastWork   = 150_000
	workAPart   = 6_000
	idleSteps   = 500 // without gain: enough
	beginnings  = 4
	nearStarts  = 8 // by which a round is put off or brought forward
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
	if len(s.starts) == 0 {
		return
	}
	s.dayByDay()
	s.sweep()
	if len(s.parts) > 1 { // else planned anew it is as good as it can be: there is nothing to trade
		s.trade()
	}
	s.sweep()
}

// trade changes the schedule as long as work allows. Where that has not helped for long it
// begins once more from nothing but what people have asked for, a few times.
func (s *search) trade() {
	best, least := s.best, s.cost
	for times := range beginnings {
		if times > 0 {
			parts := make([]int, len(s.parts))
			for a := range parts {
				parts[a] = a
			}
			s.best, s.cost = s.rebuilt(s.asked(), parts)
		}
		for idle := 0; idle < idleSteps && s.work < s.most; idle++ {
			x, cost := s.change()
			if less(cost, s.cost) {
				idle = 0
			}
			if cost <= s.cost {
				s.best, s.cost = x, cost
			}
		}
		if less(s.cost, least) {
			best, least = s.best, s.cost
		}
		if s.work >= s.most {
			break
		}
	}
	s.best, s.cost = best, least
}

// sweep plans one part after the other anew until that helps with none.
func (s *search) sweep() {
	if math.IsInf(s.cost, 1) {
		return
	}
	for a, idle := 0, 0; idle < len(s.parts) && s.work < 2*s.most; a = (a + 1) % len(s.parts) {
		idle++
		if x, cost := s.replan(s.best, a, 1); x != nil && less(cost, s.cost) {
			s.best, s.cost, idle = x, cost, 0
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
	case pick < 8:
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
	cost := s.worth(x)
	if math.IsInf(cost, 1) {
		return x, cost
	}
	for pass := range 2 {
		for _, a := range parts {
			if y, after := s.replan(x, a, opening); y != nil {
				x, cost = y, after
			}
		}
		if len(parts) < 2 || pass == 0 && len(parts) > 8 {
			break
		}
		opening = 1
	}
	return x, cost
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

// openIn opens rounds from one start until before another as long as that helps, most worth
// up to an end first.
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

// gain is what a part saves on a new round.
type gain struct {
	part       int
	litres     float64
	rate, sapL float64
}

// fullest is a new round at a start with the parts for which it saves most, what it is
// worth up to an end, and whether that are all for which it saves anything.
func (s *search) fullest(j, end int, c crewFree) (o outing, worthL float64, all bool) {
	people := 1
	if c.who[1] >= 0 {
		people = 2
	}
	s.gains = s.gains[:0]
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
		most := one.share*s.at(a, from, to).price - one.walkL
		if most <= one.share*(s.atLeast(a, from, j)+s.atLeast(a, j, to)) {
			continue
		}
		c := s.at(a, from, j)
		if most -= one.share * (c.price + s.at(a, j, to).price); most > 0 {
			s.gains = append(s.gains, gain{a, most, most / (one.takes(people) + 1), one.share * c.sapL})
		}
	}
	s.work += 3 * len(s.parts)
	slices.SortStableFunc(s.gains, func(x, y gain) int { return cmp.Compare(y.rate, x.rate) })
	o = outing{start: j, who: c.who, pin: -1}
	sap, walk, sum := 0.0, 0.0, 0.0
	for _, g := range s.gains {
		w := walk + s.parts[g.part].takes(people)
		if w+s.costs.TripMinutes*float64(s.trips(sap+g.sapL)) > float64(c.till-s.starts[j]) {
			continue
		}
		sap, walk, sum = sap+g.sapL, w, sum+g.litres
		o.parts = append(o.parts, g.part)
	}
	return o, sum - s.costs.TripWorthL*float64(s.trips(sap)), len(o.parts) == len(s.gains)
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
