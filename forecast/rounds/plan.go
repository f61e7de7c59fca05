package rounds

import (
	"math"
)

// Slot is a moment at which somebody can go round.
type Slot struct {
	Hour   int // of the plan, from its start
	Who    []string
	Pinned bool // a person wants a round then
}

// Load is how one group of taps fills, for the plan.
type Load struct {
	Fill
	AgeUsed float64 // share of its life that the sap in the containers has used up
}

// Team says what rounds cost.
type Team struct {
	TankL      float64 // of the gathering tank; 0: one trip carries all
	TripWorthL float64 // a trip is made only if it saves that much sap
	MaxAge     float64 // share of its life at which sap must be out of the containers
}

// wholeRound is one visit to some of the groups.
type wholeRound struct {
	Slot   Slot
	Groups []int
	Trips  int
	SapL   []float64 // by group, mean of the draws
}

// wholePlan is the rounds of the coming days.
type wholePlan struct {
	Rounds []wholeRound
	LossL  float64 // mean of the draws: run over, burst and spoilt
	Trips  int
	// IfNobodyGoes is the loss without any round.
	IfNobodyGoes float64
}

const (
	maxTrips = 14
	// hardFreezeC bends and bursts full containers, bulgeShare is how full they
	// may be then (common practice).
	hardFreezeC = -8.0
	bulgeShare  = 0.85
	// notWorthL a tap is too little to walk to a group for (common practice).
	notWorthL = 0.1
)

// MakePlan chooses among the slots, which rise in time, so that loss and
// TripWorthL for every trip are least together: the best for each number of
// trips by dynamic programming over pairs of neighbouring rounds, exact if every
// round goes to all groups; then groups with too little are left out of rounds.
// airC holds the air of each member; draw d of a load goes with member
// d*len(airC)/draws.
func MakePlan(loads []Load, slots []Slot, airC [][]float64, t Team) wholePlan {
	m := newLosses(loads, slots, airC, t)
	n := len(slots)
	all := make([]int, len(loads))
	for i := range all {
		all[i] = i
	}
	// best[k][j]: least loss with slot j the last round and k trips made.
	type step struct {
		loss float64
		from int
		trip int
	}
	best := make([][]step, maxTrips+1)
	for k := range best {
		best[k] = make([]step, n)
		for j := range best[k] {
			best[k][j] = step{math.Inf(1), -2, 0}
		}
	}
	for j := range n {
		for i := -1; i < j; i++ {
			if pinnedBetween(slots, i, j) {
				continue
			}
			loss, trips := m.segment(all, i, j)
			for k := trips; k <= maxTrips; k++ {
				before := 0.0
				if i >= 0 {
					before = best[k-trips][i].loss
				} else if k != trips {
					continue
				}
				if total := before + loss; total < best[k][j].loss {
					best[k][j] = step{total, i, trips}
				}
			}
		}
	}
	plan := wholePlan{LossL: m.tail(all, -1), IfNobodyGoes: m.tail(all, -1)}
	least, last, trips := plan.LossL, -1, 0
	if pinnedBetween(slots, -1, n) {
		least = math.Inf(1)
	}
	for k := 1; k <= maxTrips; k++ {
		for j := range n {
			if math.IsInf(best[k][j].loss, 1) || pinnedBetween(slots, j, n) {
				continue
			}
			loss := best[k][j].loss + m.tail(all, j)
			if loss+t.TripWorthL*float64(k) < least-1e-9 {
				least, last, trips, plan.LossL = loss+t.TripWorthL*float64(k), j, k, loss
			}
		}
	}
	plan.Trips = trips
	var path []int
	for k, j := trips, last; j >= 0; {
		path = append([]int{j}, path...)
		s := best[k][j]
		k, j = k-s.trip, s.from
	}
	m.fillIn(&plan, path)
	return plan
}

func pinnedBetween(slots []Slot, i, j int) bool {
	for k := i + 1; k < j; k++ {
		if slots[k].Pinned {
			return true
		}
	}
	return false
}

// fillIn decides which groups each round goes to: the best subset of the rounds
// for each group by itself, a visit costing notWorthL a tap; or all of them, if
// leaving some out fills the gathering tank too often.
func (m *losses) fillIn(p *wholePlan, path []int) {
	some, every := m.rounds(path, false), m.rounds(path, true)
	if m.cost(&every) < m.cost(&some) {
		some = every
	}
	p.Rounds, p.LossL, p.Trips = some.Rounds, some.LossL, some.Trips
}

// cost is what a plan costs in litres, walking to the groups included.
func (m *losses) cost(p *wholePlan) float64 {
	sum := p.LossL + m.team.TripWorthL*float64(p.Trips)
	for _, r := range p.Rounds {
		for _, g := range r.Groups {
			sum += notWorthL * float64(m.loads[g].Taps)
		}
	}
	return sum
}

func (m *losses) rounds(path []int, everyGroup bool) wholePlan {
	all := make([]wholeRound, len(path))
	for r, j := range path {
		all[r] = wholeRound{Slot: m.slots[j]}
	}
	var p wholePlan
	for g := range m.loads {
		visits := m.subset(g, path)
		from := -1
		sum := 0.0
		for r, j := range path {
			if !visits[r] && !m.slots[j].Pinned && !everyGroup {
				continue
			}
			all[r].Groups = append(all[r].Groups, g)
			all[r].SapL = append(all[r].SapL, m.caught(g, from, j))
			l, _ := m.segment([]int{g}, from, j)
			sum += l
			from = j
		}
		p.LossL += sum + m.tail([]int{g}, from)
	}
	for _, r := range all {
		if len(r.Groups) == 0 {
			continue
		}
		sum := 0.0
		for _, l := range r.SapL {
			sum += l
		}
		r.Trips = m.trips(sum)
		p.Trips += r.Trips
		p.Rounds = append(p.Rounds, r)
	}
	return p
}

// subset is which rounds of a path are worth going to one group for.
func (m *losses) subset(g int, path []int) (visits []bool) {
	one := []int{g}
	cost := notWorthL * float64(m.loads[g].Taps)
	n := len(path)
	best, from := make([]float64, n), make([]int, n)
	for b := range n {
		best[b], from[b] = math.Inf(1), -1
		for a := -1; a < b; a++ {
			i, before := -1, 0.0
			if a >= 0 {
				i, before = path[a], best[a]
			}
			l, _ := m.segment(one, i, path[b])
			if total := before + l + cost; total < best[b] {
				best[b], from[b] = total, a
			}
		}
	}
	least, last := m.tail(one, -1), -1
	for b := range n {
		if total := best[b] + m.tail(one, path[b]); total < least {
			least, last = total, b
		}
	}
	visits = make([]bool, n)
	for b := last; b >= 0; b = from[b] {
		visits[b] = true
	}
	return visits
}

func (m *losses) trips(sapL float64) int {
	if m.team.TankL <= 0 {
		return 1
	}
	return max(int(math.Ceil(sapL/m.team.TankL)), 1)
}
