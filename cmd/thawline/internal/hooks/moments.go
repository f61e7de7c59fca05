package hooks

import (
	"container/heap"
	"time"
)

// moments are one of each site, of which the oldest is at hand: with 100,000 sites nobody
// looks through all of them each time that one moves on.
type moments struct {
	list  []moment // a heap, the oldest first
	place map[string]int
}

type moment struct {
	site string
	at   time.Time
}

func newMoments(sites int) *moments {
	return &moments{make([]moment, 0, sites), make(map[string]int, sites)}
}

func (m *moments) of(site string) (at time.Time, known bool) {
	if m == nil {
		return at, false
	}
	i, known := m.place[site]
	if known {
		at = m.list[i].at
	}
	return at, known
}

func (m *moments) set(site string, at time.Time) {
	if i, known := m.place[site]; known {
		m.list[i].at = at
		heap.Fix((*byAge)(m), i)
		return
	}
	heap.Push((*byAge)(m), moment{site, at})
}

// oldest is zero where there is none.
func (m *moments) oldest() time.Time {
	if len(m.list) == 0 {
		return time.Time{}
	}
	return m.list[0].at
}

// byAge is moments as container/heap has them.
type byAge moments

func (h *byAge) Len() int           { return len(h.list) }
func (h *byAge) Less(i, j int) bool { return h.list[i].at.Before(h.list[j].at) }

func (h *byAge) Swap(i, j int) {
	h.list[i], h.list[j] = h.list[j], h.list[i]
	h.place[h.list[i].site], h.place[h.list[j].site] = i, j
}

func (h *byAge) Push(x any) {
	one := x.(moment)
	h.place[one.site] = len(h.list)
	h.list = append(h.list, one)
}

func (h *byAge) Pop() any { panic("sites leave with all moments of before") }
