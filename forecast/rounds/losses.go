package rounds

import "math"

// losses knows what each group loses between one round and the next. Index -1
// stands for now.
type losses struct {
	loads []Load
	slots []Slot
	team  Team
	hours int
	// By group, slot (and at last) and draw: litres a tap that had run by then. The
	// present stands before the slots, with what is held now taken off.
	sums [][][]float64
	// By member: slots' neighbours of hard freezes, as hours.
	freezes [][]int
	member  func(draw int) int
	run     [][][]float64 // by group and draw, litres a tap by each hour, where a freeze needs it
	age     []float64     // life used up by each hour, mean air
	first   [][]int       // by group and slot (shifted by one): the hour in which sap is first caught
}

func newLosses(loads []Load, slots []Slot, airC [][]float64, t Team) *losses {
	m := &losses{loads: loads, slots: slots, team: t}
	for g := range loads {
		if len(loads[g].FlowL) > 0 {
			m.hours = max(m.hours, len(loads[g].FlowL[0]))
		}
	}
	m.freezes = make([][]int, len(airC))
	m.age = make([]float64, m.hours+1)
	for k, air := range airC {
		for h := 1; h < min(len(air), m.hours); h++ {
			if air[h] <= hardFreezeC && air[h-1] > hardFreezeC {
				m.freezes[k] = append(m.freezes[k], h)
			}
		}
	}
	for h := range m.hours {
		sum, n := 0.0, 0.0
		for _, air := range airC {
			if h < len(air) {
				sum, n = sum+air[h], n+1
			}
		}
		m.age[h+1] = m.age[h] + LifePerHour(sum/max(n, 1), PailHygiene)
	}
	for g := range loads {
		m.addGroup(&loads[g], len(airC))
	}
	return m
}

func (m *losses) addGroup(l *Load, members int) {
	draws := len(l.FlowL)
	m.member = func(d int) int { return d * max(members, 1) / draws }
	run := make([][]float64, draws)
	flow := make([]float64, m.hours)
	for d, own := range l.FlowL {
		run[d] = make([]float64, m.hours+1)
		for h, q := range own {
			run[d][h+1] = run[d][h] + q
			flow[h] += q / float64(draws)
		}
	}
	sums := make([][]float64, len(m.slots)+2)
	for j := range sums {
		sums[j] = make([]float64, draws)
		for d := range draws {
			switch {
			case j == 0:
				sums[j][d] = -l.HeldL[d]
			case j <= len(m.slots):
				sums[j][d] = run[d][min(m.slots[j-1].Hour, m.hours)]
			default:
				sums[j][d] = run[d][m.hours]
			}
		}
	}
	first := make([]int, len(m.slots)+1)
	for j := range first {
		h := 0
		if j > 0 {
			h = min(m.slots[j-1].Hour, m.hours)
		}
		for h < m.hours && flow[h] < 0.005 {
			h++
		}
		first[j] = h
	}
	m.sums, m.run = append(m.sums, sums), append(m.run, run)
	m.first = append(m.first, first)
}

// segment is what groups lose from one round to the next, and the trips that
// the second one takes.
func (m *losses) segment(groups []int, i, j int) (loss float64, trips int) {
	sap := 0.0
	for _, g := range groups {
		loss += m.between(g, i, j, m.slots[j].Hour)
		if m.team.TankL > 0 {
			sap += m.caught(g, i, j)
		}
	}
	return loss, m.trips(sap)
}

// tail is what groups lose after their last round.
func (m *losses) tail(groups []int, i int) float64 {
	loss := 0.0
	for _, g := range groups {
		loss += m.between(g, i, len(m.slots), m.hours)
	}
	return loss
}

// between is what one group loses from slot i to slot j, at an hour.
func (m *losses) between(g, i, j, until int) float64 {
	l := &m.loads[g]
	before, ran := m.sums[g][i+1], m.sums[g][j+1]
	spoilt := m.spoils(g, i, until)
	from := 0
	if i >= 0 {
		from = m.slots[i].Hour
	}
	// Below this no container runs over and none is too full for a freeze.
	safe := bulgeShare * l.ContainerL / tapSpread[len(tapSpread)-1]
	sum := 0.0
	for d, r := range ran {
		held := r - before[d]
		switch {
		case spoilt:
			sum += held * float64(l.Taps)
		case l.TankL > 0:
			sum += max(held*float64(l.Taps)-l.TankL, 0)
		case held > safe:
			over := l.over(held)
			if i < 0 {
				over -= l.over(l.HeldL[d]) // had run over before
			}
			sum += max(over, m.bursts(g, d, before[d], from, until))
		}
	}
	return sum / float64(len(ran))
}

// bursts is what a hard freeze costs of containers that are too full for it.
func (m *losses) bursts(g, d int, base float64, from, until int) float64 {
	l := &m.loads[g]
	k := m.member(d)
	if k >= len(m.freezes) {
		return 0
	}
	worst := 0.0
	for _, h := range m.freezes[k] {
		if h <= from || h >= until {
			continue
		}
		held := m.run[g][d][h] - base
		lost := 0.0
		for _, share := range tapSpread {
			if in := min(held*share, l.ContainerL); in > bulgeShare*l.ContainerL {
				lost += in
			}
		}
		worst = max(worst, lost*float64(l.Taps)/float64(len(tapSpread)))
	}
	return worst
}

// spoils says whether the oldest sap in the containers is too old by an hour.
func (m *losses) spoils(g, i, until int) bool {
	if m.team.MaxAge <= 0 {
		return false
	}
	l := &m.loads[g]
	used, since := 0.0, m.first[g][i+1]
	if i < 0 && len(l.HeldL) > 0 && mean(l.HeldL) > notWorthL {
		used, since = l.AgeUsed, 0
	}
	return since < until && used+m.age[until]-m.age[since] > m.team.MaxAge
}

// caught is what a round at slot j finds after one at i, litres: the mean of
// the draws, what has run over not counted.
func (m *losses) caught(g, i, j int) float64 {
	l := &m.loads[g]
	before, ran := m.sums[g][i+1], m.sums[g][j+1]
	sum := 0.0
	for d, r := range ran {
		held := r - before[d]
		sum += held*float64(l.Taps) - l.over(held)
	}
	return math.Max(sum/float64(len(ran)), 0)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(max(len(x), 1))
}
