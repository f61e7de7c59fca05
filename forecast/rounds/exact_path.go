package rounds

import (
	"math"
	"slices"
)

// backTrack is the best schedule.
func (e *exact) backTrack() schedule {
	least, last := e.limit, int32(-1)
	for _, k := range e.live {
		cost := e.labels[k].cost
		for a := range e.parts {
			cost += e.parts[a].share * e.at(a, int(e.labels[k].last[a]), len(e.starts)).price
		}
		if cost < least {
			least, last = cost, k
		}
	}
	if math.IsInf(least, 1) || last < 0 {
		return nil
	}
	var path []step
	for k := last; e.labels[k].parent >= 0; k = e.labels[k].parent {
		path = append(path, e.labels[k].step)
	}
	slices.Reverse(path)
	return e.named(path)
}

// named puts parts in where a path has places in the order of last visits.
func (e *exact) named(path []step) schedule {
	names, l := make([]int, len(e.parts)), label{}
	for a := range names {
		names[a], l.last[a] = a, -1
	}
	s := make(schedule, 0, len(path))
	for _, n := range path {
		o := outing{start: int(n.start), who: [2]int{int(n.who[0]), int(n.who[1])}, pin: int(n.pin)}
		for a := range e.parts {
			if n.parts>>a&1 == 1 {
				o.parts = append(o.parts, names[a])
				l.last[a] = n.start
			}
		}
		e.sort(&l, names)
		s = append(s, o)
	}
	return s
}

// sort puts parts of one group, which are alike, in the order of their last visits, so
// that labels that differ in names only meet. names, where given, goes along.
func (e *exact) sort(l *label, names []int) {
	for a := range e.parts {
		for b := a; b > e.parts[b].first && l.last[b] < l.last[b-1]; b-- {
			l.last[b], l.last[b-1] = l.last[b-1], l.last[b]
			if names != nil {
				names[b], names[b-1] = names[b-1], names[b]
			}
		}
	}
}
