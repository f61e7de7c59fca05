package rounds

import (
	"cmp"
	"math"
	"slices"
)

// outing is a round while it is being looked for.
type outing struct {
	start int
	who   [2]int // the second is -1 where one goes alone
	pin   int    // -1 where nobody asked for it
	parts []int  // never changed in place: copies of a schedule share it
	// What cost found.
	sapL     float64
	walk     float64 // minutes
	trips    int
	contentL float64 // of the store after it
}

// schedule is outings by start.
type schedule []outing

// desk is what cost writes on.
type desk struct {
	last   []int  // by part
	end    int    // start up to which costs count, the plan's end but while a plan is begun
	busy   []int  // by helper: until which minute
	pinned []bool // by helper: with what somebody asked for
}

func newDesk(p *problem) *desk {
	return &desk{end: len(p.starts), last: make([]int, len(p.parts)), busy: make([]int, len(p.helpers)),
		pinned: make([]bool, len(p.helpers))}
}

// cost is what is minimised: risk beyond the accepted one, then loss, trips and
// walks in litres. It is infinite where a round does not fit into somebody's hours or the sap
// into the store.
func (p *problem) cost(s schedule, w *desk) float64 {
	for k := range w.last {
		w.last[k] = -1
	}
	for k := range w.busy {
		w.busy[k], w.pinned[k] = 0, false
	}
	sum, content, at := 0.0, p.req.Store.HeldL, 0
	for k := range s {
		o := &s[k]
		people := p.people(o)
		o.sapL, o.walk = 0, 0
		for _, a := range o.parts {
			if w.last[a] == o.start {
				if o.pin >= 0 { // two have asked to go there
					continue
				}
				return math.Inf(1)
			}
			c, one := p.at(a, w.last[a], o.start), &p.parts[a]
			sum += one.share*c.price + one.walkL
			o.sapL += one.share * c.sapL
			o.walk += one.takes(people)
			w.last[a] = o.start
		}
		o.trips = p.trips(o.sapL)
		sum += p.costs.TripWorthL * float64(o.trips)
		if !p.free(o, w) {
			return math.Inf(1)
		}
		if room := p.req.Store.CapacityL; room > 0 {
			content = max(content-p.boils(at, p.starts[o.start]), 0) + o.sapL
			at = p.starts[o.start]
			if content > room+tiny {
				if o.pin < 0 && o.sapL > 0 {
					return math.Inf(1)
				}
				content = room
			}
			o.contentL = content
		}
	}
	for a, i := range w.last {
		if i < w.end {
			sum += p.parts[a].share * p.at(a, i, w.end).price
		}
	}
	return sum
}

// free says whether an outing fits into the hours of who goes, and takes it off them.
func (p *problem) free(o *outing, w *desk) bool {
	from := p.starts[o.start]
	to := from + p.lasts(o)
	take := func(h int) bool {
		// Two rounds that were both asked for are left to those who asked.
		if w.busy[h] > from && (o.pin < 0 || !w.pinned[h]) || o.pin < 0 && to > p.helpers[h].till[o.start] {
			return false
		}
		w.busy[h], w.pinned[h] = max(w.busy[h], to), o.pin >= 0
		return true
	}
	if o.pin >= 0 {
		q := &p.pins[o.pin]
		for _, h := range q.who {
			if !take(h) {
				return false
			}
		}
		return len(q.parts) > 0 || len(o.parts) == 0 || to <= q.till
	}
	return take(o.who[0]) && (o.who[1] < 0 || take(o.who[1]))
}

// lasts is how many minutes an outing takes.
func (p *problem) lasts(o *outing) int {
	return minutesOf(o.walk + p.costs.TripMinutes*float64(o.trips))
}

// minutesOf is how many whole minutes are taken up, rounding aside.
func minutesOf(minutes float64) int { return int(math.Ceil(minutes - tiny)) }

func (p *problem) people(o *outing) int {
	switch {
	case o.pin >= 0:
		return max(len(p.pins[o.pin].who), 1)
	case o.who[1] >= 0:
		return 2
	default:
		return 1
	}
}

// asked is the schedule of what people have said they do.
func (p *problem) asked() schedule {
	var s schedule
	for k := range p.pins {
		s = append(s, outing{start: p.pins[k].start, who: [2]int{-1, -1}, pin: k, parts: p.pins[k].parts})
	}
	return s
}

// with is a copy with one more outing.
func (s schedule) with(o outing) schedule {
	k, _ := slices.BinarySearchFunc(s, o, func(a, b outing) int { return cmp.Compare(a.start, b.start) })
	out := make(schedule, 0, len(s)+1)
	return append(append(append(out, s[:k]...), o), s[k:]...)
}

// withoutPart is a copy without a part but where somebody asked for it; outings that
// are left empty go.
func (p *problem) withoutPart(s schedule, a int) schedule {
	out := make(schedule, 0, len(s)+1)
	for _, o := range s {
		if k := slices.Index(o.parts, a); k >= 0 && !p.asksFor(&o, a) {
			o.parts = slices.Concat(o.parts[:k], o.parts[k+1:])
		}
		if len(o.parts) > 0 || o.pin >= 0 {
			out = append(out, o)
		}
	}
	return out
}

func (p *problem) asksFor(o *outing, a int) bool {
	return o.pin >= 0 && slices.Contains(p.pins[o.pin].parts, a)
}

// closed says whether an outing takes no other part than was asked for.
func (p *problem) closed(o *outing) bool { return o.pin >= 0 && len(p.pins[o.pin].parts) > 0 }
