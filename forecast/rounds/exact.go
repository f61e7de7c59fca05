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
	mostTries    = 1_000_000
	triesAlone   = 100_000 // where one goes alone: the order of groups is all there is to choose
	leastLive    = 100     // labels; with fewer it is not begun
	littleFull   = 0.005   // of the store: too little to tell two labels apart
)

// label is what matters of a schedule up to some start: when each part was last
// visited, until when each helper is out, and how full the store is.
type label struct {
	last     [exactParts]int16
	busy     [exactHelpers]int32
	cost     float64
	contentL float64
	parent   int32 // label before the outing, -1
	beaten   bool
	outing   outing
}

// exact goes through all schedules start by start. Of labels with the same last
// visits it keeps those that no other beats in everything, and drops those that even
// the best rest could not bring below the limit.
type exact struct {
	*problem
	limit  float64
	most   int         // tries
	loads  float64     // how much of what trips cost the bound puts on litres, the rest on visits
	rest   [][]float64 // by part: from last visit (shifted by one) and start on: least to come
	tries  int
	labels []label
	live   []int32
	by     map[[exactParts]int16][]int32
}

// solve returns the best schedule below a limit, or nil where it found none; proven is
// false where there were too many to keep them all: then the most promising were kept.
func (p *problem) solve(limit float64) (best schedule, proven bool) {
	if len(p.parts) > exactParts || len(p.helpers) > exactHelpers {
		return nil, false
	}
	e := &exact{problem: p, limit: limit, most: mostTries}
	if len(p.helpers) == 1 {
		e.most = triesAlone
	}
	left := 0 // tries to come, for each label
	for j := range p.starts {
		left += p.triesAt(j)
	}
	if left*leastLive > e.most {
		return nil, false
	}
	e.bound()
	first := label{contentL: p.req.Store.HeldL, parent: -1, outing: outing{pin: -1}}
	for a := range first.last {
		first.last[a] = -1
	}
	e.labels, e.live = append(e.labels, first), append(e.live, 0)
	at := 0
	proven = true
	for j, m := range p.starts {
		if most := (e.most - e.tries) / max(left, 1); len(e.live) > most {
			e.trim(j, max(most, 1))
			proven = false
		}
		left -= p.triesAt(j)
		e.advance(m, p.boils(at, m))
		at = m
		e.start(j)
	}
	return e.backTrack(), proven
}

// triesAt is how many outings are tried at a start after each label.
func (p *problem) triesAt(j int) int {
	free, pins := 0, 0
	for h := range p.helpers {
		if p.canStart(h, j) {
			free++
		}
	}
	for k := range p.pins {
		if p.pins[k].start == j {
			pins++
		}
	}
	return (free*(free+1)/2 + pins) << len(p.parts)
}

// start makes the outings of a start.
func (e *exact) start(j int) {
	for k := range e.pins {
		if e.pins[k].start == j {
			e.extend(outing{start: j, who: [2]int{-1, -1}, pin: k}, true)
		}
	}
	for h := range e.helpers {
		for g := -1; g < h; g++ {
			if e.canStart(h, j) && (g < 0 || e.canStart(g, j)) {
				e.extend(outing{start: j, who: [2]int{h, g}, pin: -1}, false)
			}
		}
	}
}

// trim keeps the labels that may become the best.
func (e *exact) trim(start, most int) {
	slices.SortStableFunc(e.live, func(a, b int32) int {
		x, y := &e.labels[a], &e.labels[b]
		return cmp.Compare(x.cost+e.toCome(x, start-1), y.cost+e.toCome(y, start-1))
	})
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

// extend makes an outing from every live label, with every set of parts; unless it
// must be made, the labels stay beside.
func (e *exact) extend(o outing, must bool) {
	old := e.live
	e.live, e.by = nil, make(map[[exactParts]int16][]int32, len(e.by))
	if !must {
		for _, k := range old {
			e.by[e.labels[k].last] = append(e.by[e.labels[k].last], k)
		}
		e.live = append(e.live, old...)
	}
	e.tries += len(old) << len(e.parts)
	for _, k := range old {
		for set := range 1 << len(e.parts) {
			if set == 0 && (!must || e.closed(&o)) || must && e.closed(&o) && set != e.asks(&o) {
				continue
			}
			if l, fits := e.after(k, o, set); fits {
				e.keep(&l)
			}
		}
	}
	e.live = slices.DeleteFunc(e.live, func(k int32) bool { return e.labels[k].beaten })
}

func (e *exact) asks(o *outing) int {
	set := 0
	for _, a := range e.pins[o.pin].parts {
		set |= 1 << a
	}
	return set
}

// after is a label once an outing was made with a set of parts.
func (e *exact) after(k int32, o outing, set int) (label, bool) {
	l := e.labels[k]
	people := e.people(&o)
	o.sapL, o.walk, o.parts = 0, 0, nil
	for a := range e.parts {
		if set>>a&1 == 0 {
			continue
		}
		if int(l.last[a]) == o.start {
			if o.pin < 0 {
				return l, false
			}
			continue
		}
		// Of parts that are alike the first goes first.
		if a > e.parts[a].first && set>>(a-1)&1 == 0 && e.labels[k].last[a-1] == e.labels[k].last[a] {
			return l, false
		}
		c, one := e.at(a, int(l.last[a]), o.start), &e.parts[a]
		l.cost += one.share*c.price + one.walkL
		o.sapL += one.share * c.sapL
		o.walk += one.takes(people)
		l.last[a] = int16(o.start)
	}
	o.trips = e.trips(o.sapL)
	l.cost += e.costs.TripWorthL * float64(o.trips)
	if l.cost >= e.limit || !e.out(&l, &o, set) {
		return l, false
	}
	if room := e.req.Store.CapacityL; room > 0 {
		if l.contentL += o.sapL; l.contentL > room+tiny {
			if o.pin < 0 && o.sapL > 0 {
				return l, false
			}
			l.contentL = room
		}
	}
	if l.cost+e.toCome(&l, o.start) >= e.limit-tiny {
		return l, false
	}
	for a := range e.parts {
		if set>>a&1 == 1 {
			o.parts = append(o.parts, a)
		}
	}
	l.parent, l.outing = k, o
	e.sort(&l, nil)
	return l, true
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
		if int(busy) > from && (o.pin < 0 || !asked) || o.pin < 0 && to > e.helpers[h].till[o.start] {
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
		x, y := a.busy[h], b.busy[h]
		if x == y {
			continue
		}
		// Who is out because of a pin may still be asked for by another.
		if x < 0 {
			x = -x
		} else if y < 0 {
			return false
		}
		if y < 0 {
			y = -y
		}
		if x > y {
			return false
		}
	}
	return true
}
