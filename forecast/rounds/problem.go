package rounds

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/parallel"
)

// problem is a request made ready for the search: people's hours in minutes, starts
// by number, groups in parts that fit into those hours.
type problem struct {
	req      *PlanRequest
	costs    RoundCosts
	accepted float64
	weather  *planWeather
	minutes  int // of the plan
	now      int
	light    []stretch
	helpers  []helper
	pins     []pin
	starts   []int // minutes, rising
	tables   []*pairTable
	parts    []part
	boiled   []float64 // by each hour
	endless  []float64 // by start: room in a store that never fills
}

type helper struct {
	id   string
	free []stretch // in daylight, from now on
	dark []stretch // the same with the nights
	till []int     // by start: until when they can stay; 0 if they can't start then
}

type pin struct {
	of            int // of the request's, from 1
	start, minute int
	who           []int
	parts         []int // none: the plan chooses
	till          int   // where the plan chooses
	told          bool
}

// part is a share of a group's taps that one round empties.
type part struct {
	group   int
	first   int // part of the group
	share   float64
	minutes float64 // of one person
	walkL   float64 // what walking to it must save
	tank    bool
}

func newProblem(req *PlanRequest) *problem {
	p := &problem{req: req, costs: req.Costs, accepted: req.AcceptedRisk, weather: weatherOf(req)}
	usual := func(x *float64, u float64) {
		if *x == 0 {
			*x = u
		}
	}
	usual(&p.accepted, usualAcceptedRisk)
	p.costs.TripWorthL = p.costs.Trip()
	usual(&p.costs.WalkWorthL, usualWalkWorthL)
	usual(&p.costs.TripMinutes, usualTripMinutes)
	p.minutes = 60 * p.weather.hours
	p.now = max(int((req.Now.Sub(req.Start)+time.Minute-1)/time.Minute), 0)
	p.boiled = make([]float64, p.weather.hours+1)
	for h := range p.weather.hours {
		p.boiled[h+1] = p.boiled[h]
		if h < len(req.Store.BoiledL) {
			p.boiled[h+1] += req.Store.BoiledL[h]
		}
	}
	p.addHelpers()
	p.splitGroups()
	p.addPins()
	p.addStarts()
	hours := make([]int, len(p.starts))
	for j, m := range p.starts {
		hours[j] = m / 60
	}
	for range p.starts {
		p.endless = append(p.endless, math.Inf(1))
	}
	p.tables = make([]*pairTable, len(req.Groups))
	spaces := make([]scratch, parallel.Workers(len(req.Groups)))
	parallel.Each(len(req.Groups), func(worker, g int) {
		p.tables[g] = tableOf(&req.Groups[g], p.weather, p.accepted, hours, &spaces[worker])
	})
	return p
}

func (p *problem) addHelpers() {
	req := p.req
	p.light = stretches(req.Start, req.Daylight)
	ahead := []stretch{{p.now, p.minutes}}
	never := stretches(req.Start, req.Forbidden)
	for _, h := range req.Helpers {
		dark := without(without(inside(stretches(req.Start, h.Free), ahead), stretches(req.Start, h.Away)), never)
		p.helpers = append(p.helpers, helper{id: h.ID, free: inside(dark, p.light), dark: dark})
	}
}

// splitGroups splits groups that would not fit into the shorter of people's hours,
// or into the sugarhouse's tank. Parts of a group are alike, so that a plan for the
// whole is also one for its parts.
func (p *problem) splitGroups() {
	var long []int
	for _, h := range p.helpers {
		for _, s := range h.free {
			long = append(long, s.to-s.from)
		}
	}
	slices.Sort(long)
	hours := math.Inf(1)
	if len(long) > 0 {
		hours = max(float64(long[len(long)/4]), startEvery)
	}
	for g := range p.req.Groups {
		l := &p.req.Groups[g]
		capacity := l.TankL
		if capacity <= 0 {
			capacity = l.ContainerL * float64(l.Taps)
		}
		n := 1
		fits := func() bool {
			share := 1 / float64(n)
			return l.Minutes*share+p.costs.TripMinutes*float64(p.trips(capacity*share)) <= hours &&
				(p.req.Store.CapacityL <= 0 || capacity*share <= p.req.Store.CapacityL)
		}
		for n < min(mostParts, max(l.Taps, 1)) && !fits() {
			n++
		}
		first := len(p.parts)
		for range n {
			share := 1 / float64(n)
			one := part{group: g, first: first, share: share, minutes: l.Minutes * share,
				walkL: p.costs.WalkWorthL * float64(l.Taps) * share, tank: l.TankL > 0}
			p.parts = append(p.parts, one)
		}
	}
}

func (p *problem) addPins() {
	for n, q := range p.req.Pins {
		at := int(q.Start.Sub(p.req.Start) / time.Minute)
		if at < 0 || at >= p.minutes {
			continue
		}
		one := pin{of: n + 1, minute: at, told: q.Told}
		for _, id := range q.Who {
			k := slices.IndexFunc(p.helpers, func(h helper) bool { return h.id == id })
			if k < 0 {
				k = len(p.helpers)
				p.helpers = append(p.helpers, helper{id: id})
			}
			one.who = append(one.who, k)
		}
		for _, id := range q.Groups {
			for k := range p.parts {
				if p.req.Groups[p.parts[k].group].ID == id && !slices.Contains(one.parts, k) {
					one.parts = append(one.parts, k)
				}
			}
		}
		one.till = at + 180
		if end := endOf(p.light, at); end > 0 {
			one.till = end
		}
		for _, k := range one.who {
			if end := endOf(p.helpers[k].free, at); end > 0 {
				one.till = min(one.till, end)
			}
		}
		p.pins = append(p.pins, one)
	}
	slices.SortStableFunc(p.pins, func(a, b pin) int { return a.minute - b.minute })
}

// addStarts finds when rounds may start: on the hour while somebody is free, and
// when somebody's hours begin. The first hour of each day's light is among them even if
// nobody is free: the risk is looked at then, too.
func (p *problem) addStarts() {
	least := p.least()
	for every := startEvery; ; every += startEvery {
		p.starts = p.starts[:0]
		for _, q := range p.pins {
			p.starts = append(p.starts, q.minute)
		}
		for _, s := range p.light {
			if m := (s.from + 59) / 60 * 60; m >= p.now && m < p.minutes {
				p.starts = append(p.starts, m)
			}
		}
		for _, h := range p.helpers {
			for _, s := range h.free {
				if every == startEvery && s.from+least <= s.to && p.begins(s.from) {
					p.starts = append(p.starts, s.from)
				}
				on := (s.from + 59) / 60 * 60
				for m := on; m+least <= s.to; m += 60 {
					if m == on || (m/60)%(every/60) == 0 {
						p.starts = append(p.starts, m)
					}
				}
			}
		}
		slices.Sort(p.starts)
		p.starts = slices.Compact(p.starts)
		if len(p.starts) <= mostStarts || every >= 4*startEvery {
			break
		}
	}
	for k := range p.helpers {
		h := &p.helpers[k]
		h.till = make([]int, len(p.starts))
		for j, m := range p.starts {
			h.till[j] = endOf(h.free, m)
		}
	}
	for k := range p.pins {
		p.pins[k].start, _ = slices.BinarySearch(p.starts, p.pins[k].minute)
	}
}

// begins says whether somebody's hours begin in a minute, rather than the light or
// the plan.
func (p *problem) begins(minute int) bool {
	if minute == p.now {
		return false
	}
	return slices.ContainsFunc(p.req.Helpers, func(h Helper) bool {
		return slices.ContainsFunc(h.Free, func(s Span) bool { return int(s.From.Sub(p.req.Start)/time.Minute) == minute })
	})
}

// least is how many minutes the shortest round takes.
func (p *problem) least() int {
	least := math.Inf(1)
	for k := range p.parts {
		least = min(least, p.parts[k].takes(2)+p.costs.TripMinutes)
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return int(math.Ceil(least))
}

// takes is how long so many people need to empty the part.
func (a *part) takes(people int) float64 {
	if a.tank {
		return a.minutes
	}
	return a.minutes / float64(max(people, 1))
}

func (p *problem) trips(sapL float64) int {
	if p.costs.CarryL <= 0 {
		return 1
	}
	return max(int(math.Ceil(sapL/p.costs.CarryL-1e-9)), 1)
}

// at is what one whole group has to expect between two starts; its parts have their
// shares of it.
func (p *problem) at(k, i, j int) *between { return p.tables[p.parts[k].group].at(i, j) }

func (p *problem) atLeast(k, i, j int) float64 {
	return p.tables[p.parts[k].group].atLeast(i, j)
}

// emptied says whether a visit at a start leaves no ice in a part's containers.
func (p *problem) emptied(k, j int) bool {
	return p.tables[p.parts[k].group].iceL[j] <= 0
}

// boils is what the pan can take out of the store between two minutes.
func (p *problem) boils(from, to int) float64 {
	by := func(minute int) float64 {
		h := min(minute/60, p.weather.hours)
		sum := p.boiled[h]
		if h < p.weather.hours {
			sum += (p.boiled[h+1] - p.boiled[h]) * float64(minute%60) / 60
		}
		return sum
	}
	return by(to) - by(from)
}
