package rounds

import (
	"cmp"
	"slices"
)

// What is worked out exactly: a few parts and helpers, and with no more than so many
// tries to go on from a label. Larger bushes keep what the search found.
const (
	exactParts   = 6
	exactHelpers = 8
	mostTries    = 480_000 // sets of parts, times parts: what a set takes to try grows with them
	littleFull   = 0.005   // of the store: too little to tell two labels apart
	leastShare   = 0.1     // of the sets of parts that are expected to be worth a try
	leastLive    = 100     // labels; with fewer it is not begun
)

// label is what matters of a schedule up to some start: when each part was last
// visited, until when each helper is out, and how full the store is.
type label struct {
	last     [exactParts]int16
	busy     [exactHelpers]int32
	cost     float64
	least    float64 // with all that is to come, when that was last looked at
	contentL float64
	parent   int32 // label before the step, -1
	beaten   bool
	step     step
}

// step is an outing to a set of parts.
type step struct {
	start, pin int16 // -1 where nobody asked for it
	who        [2]int8
	parts      uint8 // by bit
}

// choice is what a part comes to on the outing that is being tried.
type choice struct {
	can            bool
	costL          float64 // price and walk
	restL          float64 // least to come after it
	stayL          float64 // least to come without it
	moreL          float64 // at least that much dearer than the label's bound
	sapL, takesMin float64
}

// exact goes through all schedules start by start. Of labels with the same last
// visits it keeps those that no other beats in everything, and drops those that even
// the best rest could not bring below the limit.
type exact struct {
	*problem
	limit   float64     // nothing that costs as much is of use
	loads   float64     // how much of what trips cost the bound puts on litres, the rest on visits
	shares  [][]float64 // by start and part: of a trip's worth that the bound puts on its visit
	rest    [][]float64 // by part: from last visit (shifted by one) and start on: least to come
	tries   int         // sets of parts tried
	sets    int         // that there were
	left    int         // that are still to come, for each label
	proven  bool
	labels  []label
	live    []int32
	by      map[[exactParts]int16][]int32
	choices [exactParts]choice
}

// solve returns the best schedule below a limit, or nil where it found none; proven is
// false where there were too many to keep them all: then the most promising were kept.
func (p *problem) solve(limit float64) (best schedule, proven bool) {
	e := newExact(p, limit)
	if e == nil {
		return nil, false
	}
	return e.run(), e.proven
}

// newExact is nil where there is too much to begin.
func newExact(p *problem, limit float64) *exact {
	if len(p.parts) > exactParts || len(p.helpers) > exactHelpers {
		return nil
	}
	left := 0
	for j := range p.starts {
		left += p.setsAt(j)
	}
	if float64(left*len(p.parts))*leastShare*leastLive > mostTries {
		return nil
	}
	e := &exact{problem: p, limit: limit - tiny, left: left, proven: true, by: map[[exactParts]int16][]int32{}}
	e.bound()
	return e
}

// run is the best schedule below the limit, nil where there is none.
func (e *exact) run() schedule {
	first := label{contentL: e.req.Store.HeldL, parent: -1}
	for a := range first.last {
		first.last[a] = -1
	}
	e.keep(&first)
	at := 0
	for j, m := range e.starts {
		e.prune(j)
		e.trim(j, 1)
		e.advance(m, e.boils(at, m))
		at = m
		e.start(j)
	}
	return e.backTrack()
}

// setsAt is how many outings there are at a start after each label.
func (p *problem) setsAt(j int) int {
	free := 0
	for h := range p.helpers {
		if p.canStart(h, j) {
			free++
		}
	}
	return (free*(free+1)/2 + p.pinsAt(j)) << len(p.parts)
}

// pinsAt is how many have promised to start then.
func (p *problem) pinsAt(j int) (n int) {
	for k := range p.pins {
		if p.pins[k].start == j {
			n++
		}
	}
	return n
}

// start makes the outings of a start.
func (e *exact) start(j int) {
	for k := range e.pins {
		if e.pins[k].start == j {
			e.extend(step{start: int16(j), who: [2]int8{-1, -1}, pin: int16(k)})
		}
	}
	for h := range e.helpers {
		for g := -1; g < h; g++ {
			if e.canStart(h, j) && (g < 0 || e.canStart(g, j)) {
				e.extend(step{start: int16(j), who: [2]int8{int8(h), int8(g)}, pin: -1})
			}
		}
	}
}

// prune drops labels that the best rest from a start on could not bring below the limit.
func (e *exact) prune(start int) {
	e.live = slices.DeleteFunc(e.live, func(k int32) bool {
		l := &e.labels[k]
		return l.cost+e.toCome(l, start) >= e.limit
	})
}

// trim keeps the labels that may become the best, no more than there may be tries for.
// In the middle of a start some more are let pass: the best of them have not gone yet.
func (e *exact) trim(start, times int) {
	share := max(float64(e.tries)/float64(max(e.sets, 1)), leastShare)
	most := max(int(float64(mostTries/len(e.parts)-e.tries)/(share*float64(max(e.left, 1)))), 1)
	if len(e.live) <= times*most {
		return
	}
	e.proven = false
	for _, k := range e.live {
		l := &e.labels[k]
		l.least = l.cost + e.toCome(l, start)
	}
	slices.SortStableFunc(e.live, func(a, b int32) int { return cmp.Compare(e.labels[a].least, e.labels[b].least) })
	e.live = e.live[:most]
}

func (p *problem) canStart(h, j int) bool {
	return p.helpers[h].till != nil && p.helpers[h].till[j] > 0
}

// advance lets the pan boil and people come back until a minute.
func (e *exact) advance(minute int, boilsL float64) {
	for _, k := range e.live {
		l := &e.labels[k]
		l.contentL = max(l.contentL-boilsL, 0)
		for h := range e.helpers {
			if int(max(l.busy[h], -l.busy[h])) <= minute {
				l.busy[h] = 0
			}
		}
	}
}

// extend makes an outing from every live label, with every set of parts; unless somebody
// asked for it, the labels stay beside.
func (e *exact) extend(o step) {
	e.trim(int(o.start), 8)
	e.left -= 1 << len(e.parts)
	old := e.live
	if o.pin >= 0 {
		e.live = nil
		clear(e.by)
	}
	out := outing{start: int(o.start), who: [2]int{int(o.who[0]), int(o.who[1])}, pin: int(o.pin)}
	for _, k := range old {
		l := e.labels[k]
		e.sets += 1 << len(e.parts)
		least := e.choose(&l, &out)
		if !e.closed(&out) {
			e.tryFrom(0, k, &l, out, 0, least)
			continue
		}
		set := 0
		for _, a := range e.pins[o.pin].parts {
			set |= 1 << a
		}
		e.try(k, l, out, set)
	}
	e.live = slices.DeleteFunc(e.live, func(k int32) bool { return e.labels[k].beaten })
}

// choose finds what each part would come to on an outing after a label, and how much
// the whole costs at least.
func (e *exact) choose(l *label, o *outing) (leastL float64) {
	leastL = l.cost
	people := e.people(o)
	for a := range e.parts {
		x, i, one := &e.choices[a], int(l.last[a]), &e.parts[a]
		*x = choice{can: o.pin >= 0}
		if i == o.start { // there already: two have asked for it
			x.stayL = e.restAt(a, i, o.start+1)
			x.restL = x.stayL
		} else {
			c := e.at(a, i, o.start)
			sap := one.share * c.sapL
			*x = choice{can: true, costL: one.share*c.price + one.walkL, restL: e.restAt(a, o.start, o.start+1),
				stayL: e.restAt(a, i, o.start),
				sapL:  sap, takesMin: one.takes(people)}
			x.moreL = max(x.costL+e.carriage(a, o.start, sap)+x.restL-x.stayL, 0)
		}
		leastL += x.stayL
	}
	return leastL
}

// tryFrom tries all sets of parts that are alike up to one.
func (e *exact) tryFrom(a int, k int32, l *label, o outing, set int, leastL float64) {
	if leastL >= e.limit {
		return
	}
	if a == len(e.parts) {
		if set != 0 || o.pin >= 0 {
			e.try(k, *l, o, set)
		}
		return
	}
	e.tryFrom(a+1, k, l, o, set, leastL)
	// Of parts that are alike the first goes first.
	if e.choices[a].can && (a == e.parts[a].first || set>>(a-1)&1 == 1 || l.last[a-1] != l.last[a]) {
		e.tryFrom(a+1, k, l, o, set|1<<a, leastL+e.choices[a].moreL)
	}
}

// try keeps the label after an outing to a set of parts, if it may become the best.
func (e *exact) try(k int32, l label, o outing, set int) {
	e.tries++
	rest := 0.0
	for a := range e.parts {
		x := &e.choices[a]
		if set>>a&1 == 0 {
			rest += x.stayL
			continue
		}
		l.cost += x.costL
		rest += x.restL
		o.sapL += x.sapL
		o.walk += x.takesMin
		l.last[a] = int16(o.start)
	}
	o.trips = e.trips(o.sapL)
	l.cost += e.costs.TripWorthL * float64(o.trips)
	if l.cost+rest >= e.limit || !e.out(&l, &o, set) {
		return
	}
	if room := e.req.Store.CapacityL; room > 0 {
		if l.contentL += o.sapL; l.contentL > room+tiny {
			if o.pin < 0 && o.sapL > 0 {
				return
			}
			l.contentL = room
		}
	}
	l.parent = k
	l.step = step{start: int16(o.start), pin: int16(o.pin), who: [2]int8{int8(o.who[0]), int8(o.who[1])}, parts: uint8(set)}
	e.sort(&l, nil)
	e.keep(&l)
}

// out takes an outing off the hours of who goes.
func (e *exact) out(l *label, o *outing, set int) bool {
	from := e.starts[o.start]
	to := from + e.lasts(o)
	who := o.who[:]
	if o.pin >= 0 {
		who = e.pins[o.pin].who
		if len(e.pins[o.pin].parts) == 0 && set != 0 && to > e.pins[o.pin].till {
			return false
		}
	}
	for _, h := range who {
		if h < 0 {
			continue
		}
		// The sign says that the helper is out because somebody asked for it.
		asked := l.busy[h] < 0
		busy := max(l.busy[h], -l.busy[h])
		if busy > 0 && (o.pin < 0 || !asked) || o.pin < 0 && to > e.helpers[h].till[o.start] {
			return false
		}
		l.busy[h] = max(busy, int32(to))
		if o.pin >= 0 {
			l.busy[h] = -l.busy[h]
		}
	}
	return true
}

// keep adds a label to the live ones unless one of them beats it.
func (e *exact) keep(l *label) {
	same := e.by[l.last]
	for _, n := range same {
		if e.beats(&e.labels[n], l) {
			return
		}
	}
	k := int32(len(e.labels))
	e.labels = append(e.labels, *l)
	out := same[:0]
	for _, n := range same {
		if e.beats(l, &e.labels[n]) {
			e.labels[n].beaten = true
			continue
		}
		out = append(out, n)
	}
	e.by[l.last] = append(out, k)
	e.live = append(e.live, k)
}

func (e *exact) beats(a, b *label) bool {
	if a.cost > b.cost+tiny/10 || a.contentL > b.contentL+e.req.Store.CapacityL*littleFull {
		return false
	}
	for h := range e.helpers {
		// Who is out because of a pin may still be asked for by another.
		if x, y := a.busy[h], b.busy[h]; max(x, -x) > max(y, -y) || x > 0 && y < 0 {
			return false
		}
	}
	return true
}
