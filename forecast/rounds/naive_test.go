package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

var midnight = time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)

func hourOf(h float64) time.Time { return midnight.Add(time.Duration(h * float64(time.Hour))) }

// randomBush is four days of a small bush: so many groups and helpers, each with one
// window a day, starts on the hour.
func randomBush(seed uint64, groups, helpers int) PlanRequest {
	const hours, draws = 96, 10
	rng := rand.New(rand.NewPCG(seed, uint64(10*groups+helpers)))
	req := PlanRequest{Start: midnight, Now: hourOf(6.5), AirC: make([][]float64, 5)}
	size := math.Exp(rng.NormFloat64() * 0.7)
	for k := range req.AirC {
		req.AirC[k] = make([]float64, hours)
		for h := range req.AirC[k] {
			req.AirC[k][h] = 1 - 7*math.Cos(float64(h)/24*2*math.Pi) - 8*rng.Float64()*float64(h)/hours
		}
	}
	for g := range groups {
		l := TapGroup{ID: string(rune('a' + g)), Load: Load{Fill: Fill{Taps: 10 + rng.IntN(60)}, AgeUsed: 0.5 * rng.Float64()}}
		l.ContainerL, l.Minutes = 5+6*rng.Float64(), float64(l.Taps)
		ice := 0.0
		if rng.IntN(4) == 0 {
			l.TankL, l.ContainerL, l.Minutes = l.ContainerL*float64(l.Taps), 0, 15
		} else if rng.IntN(3) == 0 {
			ice = rng.Float64()
		}
		held := 3 * rng.Float64()
		for range draws {
			flow := make([]float64, hours)
			day := 0.0
			for h := range flow {
				if h%24 == 0 {
					day = size * math.Exp(0.5*rng.NormFloat64())
				}
				flow[h] = max(0, -0.45*math.Cos(float64(h)/24*2*math.Pi)) * day * rng.Float64()
			}
			l.FlowL = append(l.FlowL, flow)
			l.HeldL = append(l.HeldL, ice+held*(0.5+rng.Float64()))
			l.IceL = append(l.IceL, ice)
		}
		req.Groups = append(req.Groups, l)
	}
	for k := range helpers {
		h := Helper{ID: string(rune('A' + k))}
		for day := range 4 {
			if rng.IntN(6) == 0 {
				continue
			}
			from := 24*day + 7 + rng.IntN(10)
			long := 2
			if helpers < 3 {
				long += rng.IntN(4 - helpers)
			}
			h.Free = append(h.Free, Span{hourOf(float64(from)), hourOf(float64(from + long))})
		}
		req.Helpers = append(req.Helpers, h)
	}
	for day := range 4 {
		req.Daylight = append(req.Daylight, Span{hourOf(24*float64(day) + 6.2), hourOf(24*float64(day) + 18.9)})
	}
	req.Costs = RoundCosts{TripWorthL: 5 + 35*rng.Float64(), MaxAge: 0.7 + rng.Float64()}
	if rng.IntN(2) == 0 {
		req.Costs.CarryL = 60 + 240*rng.Float64()
	}
	if rng.IntN(4) == 0 {
		req.Store = Store{CapacityL: 250 + 500*rng.Float64(), HeldL: 100 * rng.Float64(), BoiledL: make([]float64, hours)}
		for h := range req.Store.BoiledL {
			if h%24 >= 16 && h%24 < 22 {
				req.Store.BoiledL[h] = 50
			}
		}
	}
	if rng.IntN(5) == 0 {
		req.Pins = []Pin{{Start: hourOf(float64(24*rng.IntN(4) + 7 + rng.IntN(10))), Who: []string{"A"}, Groups: []string{"a"}}}
	}
	return req
}

// naive enumerates all sequences of rounds, day by day, by costs of its own. After each
// day it keeps the cheapest for the same last visits: what comes later depends on nothing else.
type naive struct {
	req   *PlanRequest
	limit float64 // sequences that are dearer already are given up
	memo  map[[3]int][5]float64
	rests map[[3]int]float64
	airC  []float64 // mean of the members
	grid  []int     // hours at which somebody could come, and the end
}

type naiveState struct {
	last     [3]int // hour, -1
	busy     [3]float64
	hour     int // up to which the pan has boiled
	contentL float64
	cost     float64
}

type naiveMove struct {
	hour   int
	who    []int
	pinned bool
}

func newNaive(req *PlanRequest, limit float64) *naive {
	n := &naive{req: req, limit: limit, memo: map[[3]int][5]float64{}, rests: map[[3]int]float64{}, airC: make([]float64, 96)}
	for h := range n.airC {
		for _, air := range req.AirC {
			n.airC[h] += air[h] / float64(len(req.AirC))
		}
	}
	for day := range 4 {
		n.grid = append(n.grid, 24*day+7) // first full hour of the light
		for _, m := range n.moves(day) {
			n.grid = append(n.grid, m.hour)
		}
	}
	n.grid = append(n.grid, 96)
	slices.Sort(n.grid)
	return n
}

func naiveBest(req *PlanRequest, limit float64) float64 {
	n := newNaive(req, limit)
	states := []naiveState{{last: [3]int{-1, -1, -1}, contentL: req.Store.HeldL}}
	for day := range 4 {
		next := map[[3]int][]naiveState{}
		for _, s := range states {
			n.day(24*day, n.moves(day), s, next)
		}
		states = states[:0]
		for _, same := range next {
			states = append(states, same...)
		}
	}
	best := math.Inf(1)
	for _, s := range states {
		for g := range req.Groups {
			s.cost += n.between(g, s.last[g], 96)[0]
		}
		best = min(best, s.cost)
	}
	return best
}

// rest is what a group costs at least from its last visit on, if somebody could come at
// any hour and it cost nothing.
func (n *naive) rest(g, last, hour int) float64 {
	key := [3]int{g, last, hour}
	if r, ok := n.rests[key]; ok {
		return r
	}
	least := n.between(g, last, 96)[0]
	for _, h := range n.grid {
		if h >= hour && h < 96 {
			least = min(least, n.between(g, last, h)[0]+n.rest(g, h, h+1))
		}
	}
	n.rests[key] = least
	return least
}

func (n *naive) free(h, hour int) bool { return n.till(h, hour) > 0 }

// till is until when somebody can stay, minutes; 0 if not there or in the dark.
func (n *naive) till(h, hour int) float64 {
	at := hourOf(float64(hour))
	if at.Before(n.req.Now) {
		return 0
	}
	for _, f := range n.req.Helpers[h].Free {
		for _, light := range n.req.Daylight {
			if !at.Before(f.From) && at.Before(f.To) && !at.Before(light.From) && at.Before(light.To) {
				return min(f.To.Sub(midnight).Minutes(), light.To.Sub(midnight).Minutes())
			}
		}
	}
	return 0
}

func (n *naive) moves(day int) []naiveMove {
	var out []naiveMove
	for hour := 24 * day; hour < 24*day+24; hour++ {
		for _, p := range n.req.Pins {
			if p.Start.Equal(hourOf(float64(hour))) {
				out = append(out, naiveMove{hour, []int{0}, true})
			}
		}
		for h := range n.req.Helpers {
			if !n.free(h, hour) {
				continue
			}
			out = append(out, naiveMove{hour, []int{h}, false})
			for g := range h {
				if n.free(g, hour) {
					out = append(out, naiveMove{hour, []int{g, h}, false})
				}
			}
		}
	}
	return out
}

// day goes through a day's moves: each is left out, or made with any set of groups.
func (n *naive) day(from int, moves []naiveMove, s naiveState, next map[[3]int][]naiveState) {
	least := s.cost
	for g := range n.req.Groups {
		next := from
		if len(moves) > 0 {
			next = max(moves[0].hour, s.last[g]+1)
		}
		least += n.rest(g, s.last[g], next)
	}
	if least > n.limit {
		return
	}
	if len(moves) == 0 {
		s.busy = [3]float64{}
		s.drain(n.req.Store.BoiledL, from+24)
		for _, t := range next[s.last] {
			if t.cost <= s.cost && t.contentL <= s.contentL {
				return
			}
		}
		next[s.last] = append(next[s.last], s)
		return
	}
	m := moves[0]
	if !m.pinned {
		n.day(from, moves[1:], s, next)
	}
	for set := 1; set < 1<<len(n.req.Groups); set++ {
		if m.pinned && set != 1 {
			continue
		}
		if after, ok := n.made(m, set, s); ok {
			n.day(from, moves[1:], after, next)
		}
	}
}

func (s *naiveState) drain(boiledL []float64, hour int) {
	for ; s.hour < hour && len(boiledL) > 0; s.hour++ {
		s.contentL = max(s.contentL-boiledL[s.hour], 0)
	}
}

// made is the state after a move with a set of groups.
func (n *naive) made(m naiveMove, set int, s naiveState) (naiveState, bool) {
	c := &n.req.Costs
	sap, walk := 0.0, 0.0
	for g := range n.req.Groups {
		if set>>g&1 == 0 {
			continue
		}
		if s.last[g] == m.hour {
			return s, false
		}
		b, l := n.between(g, s.last[g], m.hour), &n.req.Groups[g]
		s.cost += b[0] + 0.1*float64(l.Taps)
		sap += b[1]
		if l.TankL > 0 {
			walk += l.Minutes
		} else {
			walk += l.Minutes / float64(len(m.who))
		}
		s.last[g] = m.hour
	}
	trips := 1.0
	if c.CarryL > 0 {
		trips = max(math.Ceil(sap/c.CarryL-1e-9), 1)
	}
	s.cost += trips * c.TripWorthL
	start := float64(60 * m.hour)
	end := start + math.Ceil(walk+20*trips-1e-9)
	for _, h := range m.who {
		if s.busy[h] > start || !m.pinned && end > n.till(h, m.hour) {
			return s, false
		}
		s.busy[h] = end
	}
	if n.req.Store.CapacityL > 0 {
		s.drain(n.req.Store.BoiledL, m.hour)
		s.contentL += sap
		if s.contentL > n.req.Store.CapacityL+1e-9 {
			if !m.pinned && sap > 0 {
				return s, false
			}
			s.contentL = n.req.Store.CapacityL
		}
	}
	return s, true
}

// between is what a group costs between two hours, what the second visit carries away, the
// chance that it runs over by then, the litres that are lost, and what the ice that is left
// counts for: every draw hour by hour, pail by pail.
func (n *naive) between(g, from, to int) [5]float64 {
	key := [3]int{g, from, to}
	if b, ok := n.memo[key]; ok {
		return b
	}
	l := &n.req.Groups[g]
	loss, sap, risk := 0.0, 0.0, 0.0
	draws := float64(len(l.FlowL))
	old := n.tooOld(g, from, to)
	for d, flow := range l.FlowL {
		air := n.req.AirC[d*len(n.req.AirC)/len(l.FlowL)]
		held := l.HeldL[d]
		if from >= 0 {
			held = n.iced(g, d, from)
		}
		first := n.beyond(l, held)
		if from >= 0 {
			first = 0
		}
		burst := 0.0
		for h := max(from, 0); h < to; h++ {
			if h > max(from, 0) && air[h] <= -8 && air[h-1] > -8 {
				burst = max(burst, n.frozen(l, held))
			}
			held += flow[h]
		}
		over := n.beyond(l, held)
		more := 1e-9
		if first > 0 {
			more = 0.1 * float64(l.Taps)
		}
		if over > first+more {
			risk += 1 / draws
		}
		if old {
			loss += max(held*float64(l.Taps)-first, 0) / draws
			continue
		}
		loss += max(over-first, burst, 0) / draws
		sap += ((held-n.iced(g, d, to))*float64(l.Taps) - over) / draws
	}
	sap = max(sap, 0)
	// Hours at more risk than one in ten come before any litres.
	late := 0.0
	for k, h := range n.grid {
		if k > 0 && h == n.grid[k-1] || h <= from || h > to {
			continue
		}
		since := 0
		if k > 0 {
			since = n.grid[k-1]
		}
		if h == to {
			late += float64(h-since) * max(risk-0.1, 0)
		} else {
			late += float64(h-since) * max(n.between(g, from, h)[2]-0.1, 0)
		}
	}
	ice := 0.0
	for d := range l.FlowL {
		if to < 96 {
			ice += 0.02 * n.iced(g, d, to) * float64(l.Taps) / draws
		}
	}
	b := [5]float64{loss + 1e4*float64(l.Taps)*late + ice, sap, risk, loss, ice}
	n.memo[key] = b
	return b
}

// held is what a tap of a draw has given by an hour since a visit at another, with the ice that
// was left in its container.
func (n *naive) held(g, d, from, to int) float64 {
	l := &n.req.Groups[g]
	held := l.HeldL[d]
	if from >= 0 {
		held = n.iced(g, d, from)
	}
	for h := max(from, 0); h < to; h++ {
		held += l.FlowL[d][h]
	}
	return held
}

// hangs are the litres that a visit finds in the containers, by draw.
func (n *naive) hangs(g, from, to int) []float64 {
	l, out := &n.req.Groups[g], make([]float64, len(n.req.Groups[g].FlowL))
	for d := range out {
		held := n.held(g, d, from, to)
		out[d] = max((held-n.iced(g, d, to))*float64(l.Taps)-n.beyond(l, held), 0)
	}
	return out
}

// why is what a visit prevents most of: sap that runs over, that is too old before any does,
// or containers that burst.
func (n *naive) why(g, from, to int) Why {
	l := &n.req.Groups[g]
	if n.tooOld(g, from, to) {
		for _, h := range n.grid {
			switch {
			case h <= from || h >= to:
			case n.between(g, from, h)[2] > 0.1:
				return WhyOverflow
			case n.tooOld(g, from, h):
				return WhyAge
			}
		}
		return WhyAge
	}
	over := 0.0
	for d := range l.FlowL {
		first := 0.0
		if from < 0 {
			first = n.beyond(l, l.HeldL[d])
		}
		over += max(n.beyond(l, n.held(g, d, from, to))-first, 0) / float64(len(l.FlowL))
	}
	if b := n.between(g, from, to); b[2] <= 0.1 && b[3]-over > over {
		return WhyFreeze
	}
	return WhyOverflow
}

// iced is what is ice at a tap of a draw by an hour, no more than has come; a tank has less
// surface for what it holds.
func (n *naive) iced(g, d, hour int) float64 {
	l := &n.req.Groups[g]
	came, ice := l.HeldL[d], min(l.IceL[d], l.HeldL[d])
	full := math.Inf(1) // before the best tap's pail bulges
	switch {
	case l.TankL > 0:
		full = l.TankL / float64(l.Taps)
	case l.ContainerL > 0:
		full = 0.85 * l.ContainerL / 1.54 * (1 - 1e-9)
	}
	ice = min(ice, full)
	for h := range hour {
		came += l.FlowL[d][h]
		melts := 0.8 * n.airC[h] * 3600 / 333_550
		if l.TankL > 0 {
			melts *= math.Pow(l.TankL/7.5, 2.0/3) / float64(l.Taps)
		}
		ice = min(max(ice-melts, 0), came, full)
	}
	return ice
}

func (n *naive) beyond(l *TapGroup, held float64) float64 {
	if l.TankL > 0 {
		return max(held*float64(l.Taps)-l.TankL, 0)
	}
	if l.ContainerL <= 0 {
		return 0
	}
	sum := 0.0
	for _, x := range []float64{0.56, 0.76, 0.95, 1.19, 1.54} {
		sum += max(held*x-l.ContainerL, 0) * float64(l.Taps) / 5
	}
	return sum
}

func (n *naive) frozen(l *TapGroup, held float64) float64 {
	sum := 0.0
	for _, x := range []float64{0.56, 0.76, 0.95, 1.19, 1.54} {
		if in := min(held*x, l.ContainerL); l.TankL <= 0 && in > 0.85*l.ContainerL {
			sum += in * float64(l.Taps) / 5
		}
	}
	return sum
}

func (n *naive) tooOld(g, from, to int) bool {
	return n.req.Costs.MaxAge > 0 && n.aged(g, from, to) > n.req.Costs.MaxAge
}

// aged is what the oldest sap between two hours has used up of its life, 0 where there is none;
// a visit that left more ice than it took was none.
func (n *naive) aged(g, from, to int) float64 {
	l := &n.req.Groups[g]
	used, started := 0.0, false
	if from < 0 && mean(l.HeldL) > 0.1 {
		used, started = l.AgeUsed, true
	}
	ran := false
	for h := max(from, 0); h < to; h++ {
		flow := 0.0
		for _, f := range l.FlowL {
			flow += f[h] / float64(len(l.FlowL))
		}
		started = started || flow >= 0.005
		if started {
			used += LifePerHour(n.airC[h], PailHygiene)
			ran = true
		}
	}
	if !ran {
		used = 0
	}
	left := 0.0
	for d := range l.FlowL {
		left += n.iced(g, d, max(from, 0)) / float64(len(l.FlowL))
	}
	if from < 0 || left <= 0.1 {
		return used
	}
	hung := mean(l.HeldL)
	for h := range from {
		for _, f := range l.FlowL {
			hung += f[h] / float64(len(l.FlowL))
		}
	}
	if left > hung/2 {
		return n.aged(g, -1, to)
	}
	return used
}

// largeBush has so many groups of 20 to 80 pails, helpers with some hours every day, and as many
// draws as members have an ensemble.
func largeBush(groups, helpers, days int) PlanRequest {
	const draws = 51
	hours := 24 * days
	rng := rand.New(rand.NewPCG(uint64(groups), 3))
	req := PlanRequest{Start: midnight, Now: hourOf(6.5), AirC: make([][]float64, 51), Costs: RoundCosts{CarryL: 1000, MaxAge: 1}}
	for k := range req.AirC {
		req.AirC[k] = make([]float64, hours)
		day := 0.0
		for h := range req.AirC[k] {
			if h%24 == 12 {
				day = 3 * rng.NormFloat64()
			}
			req.AirC[k][h] = day - 7*math.Cos(float64(h)/24*2*math.Pi)
		}
	}
	for g := range groups {
		l := TapGroup{ID: string(rune('a' + g)), Load: Load{Fill: Fill{Taps: 20 + rng.IntN(60), ContainerL: 7.5}}}
		l.Minutes = float64(l.Taps) * 0.6
		for range draws {
			flow := make([]float64, hours)
			day := 0.0
			for h := range flow {
				if h%24 == 0 {
					day = 0.5 * math.Exp(0.7*rng.NormFloat64())
				}
				flow[h] = max(0, -0.45*math.Cos(float64(h)/24*2*math.Pi)) * day
			}
			l.FlowL, l.HeldL = append(l.FlowL, flow), append(l.HeldL, 2*rng.Float64())
		}
		req.Groups = append(req.Groups, l)
	}
	for k := range helpers {
		h := Helper{ID: string(rune('A' + k))}
		for day := range days {
			from := 24*day + 7 + rng.IntN(8)
			h.Free = append(h.Free, Span{hourOf(float64(from)), hourOf(float64(from + 3 + rng.IntN(3)))})
		}
		req.Helpers = append(req.Helpers, h)
	}
	for day := range days {
		req.Daylight = append(req.Daylight, Span{hourOf(24*float64(day) + 6.2), hourOf(24*float64(day) + 18.9)})
	}
	return req
}
