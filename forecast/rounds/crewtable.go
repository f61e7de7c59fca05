package rounds

import (
	"cmp"
	"slices"
)

// crewFree is who could start a round, and until when they can stay.
type crewFree struct {
	who  [2]int // -1: nobody; the second is -1 where one goes alone
	till int
}

// crewTable is who is still free at each start beside a schedule: the helper, and the
// two, that can stay longest.
type crewTable struct {
	till         []int // of one helper
	single, pair []crewFree
	minutes      []int // by helper: out already
	order        []int // helpers, who is out least first
}

// fill is for a schedule that was looked at by cost.
func (t *crewTable) fill(p *problem, x schedule) {
	n := len(p.starts)
	nobody := crewFree{who: [2]int{-1, -1}}
	t.till, t.single, t.pair = t.till[:0], t.single[:0], t.pair[:0]
	for range n {
		t.till = append(t.till, 0)
		t.single, t.pair = append(t.single, nobody), append(t.pair, nobody)
	}
	t.rank(p, x)
	for _, h := range t.order {
		if p.helpers[h].till == nil {
			continue
		}
		copy(t.till, p.helpers[h].till)
		for k := range x {
			if p.goes(&x[k], h) {
				t.takeOut(p, &x[k])
			}
		}
		for j, till := range t.till {
			if till == 0 {
				continue
			}
			first, two := &t.single[j], &t.pair[j]
			second := crewFree{who: [2]int{h, -1}, till: till}
			if till > first.till {
				*first, second = second, *first
			}
			// The second best is what the pair can stay.
			if second.who[0] >= 0 && second.till > two.till {
				*two = crewFree{who: [2]int{first.who[0], second.who[0]}, till: second.till}
			}
		}
	}
}

// rank orders helpers by the minutes that they are out, so that of those who can stay as
// long the one goes who has less to walk.
func (t *crewTable) rank(p *problem, x schedule) {
	t.minutes, t.order = t.minutes[:0], t.order[:0]
	for h := range p.helpers {
		t.minutes, t.order = append(t.minutes, 0), append(t.order, h)
	}
	for k := range x {
		for h := range p.helpers {
			if p.goes(&x[k], h) {
				t.minutes[h] += p.lasts(&x[k])
			}
		}
	}
	slices.SortStableFunc(t.order, func(a, b int) int { return cmp.Compare(t.minutes[a], t.minutes[b]) })
}

// takeOut takes an outing off one helper's hours.
func (t *crewTable) takeOut(p *problem, o *outing) {
	from := p.starts[o.start]
	to := from + p.lasts(o)
	for j := o.start; j < len(t.till) && p.starts[j] < to; j++ {
		t.till[j] = 0
	}
	for j := o.start - 1; j >= 0 && t.till[j] > from; j-- {
		t.till[j] = from
	}
}

func (p *problem) goes(o *outing, h int) bool {
	if o.pin < 0 {
		return o.who[0] == h || o.who[1] == h
	}
	for _, k := range p.pins[o.pin].who {
		if k == h {
			return true
		}
	}
	return false
}

// limit is until when an outing may last beside the others of a schedule.
func (p *problem) limit(x schedule, k int) int {
	o := &x[k]
	till := p.minutes * 2
	ends := func(h int) {
		if o.pin < 0 {
			till = min(till, p.helpers[h].till[o.start])
		}
		for n := k + 1; n < len(x); n++ {
			if x[n].start > o.start && p.goes(&x[n], h) {
				till = min(till, p.starts[x[n].start])
				break
			}
		}
	}
	if o.pin >= 0 {
		q := &p.pins[o.pin]
		if len(q.parts) == 0 {
			till = q.till
		}
		for _, h := range q.who {
			ends(h)
		}
		return till
	}
	ends(o.who[0])
	if o.who[1] >= 0 {
		ends(o.who[1])
	}
	return till
}
