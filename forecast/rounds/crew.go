package rounds

import (
	"cmp"
	"slices"
	"time"
)

// PlanRounds chooses who goes when to which groups. The chance that a group runs over
// before its next visit is kept at the accepted one or below where that can be; where it
// cannot, what is beyond it, times taps, is as small as can be. After that the
// expected loss and what trips and walks must save are least together. Rounds start
// on the hour, or when somebody's hours begin; a group counts as emptied when its round
// starts. It is exact for small bushes (Plan.Proven) and else the outcome of a search
// that takes the same steps on every machine.
func PlanRounds(req PlanRequest) Plan {
	p := newProblem(&req)
	s := newSearch(p)
	s.run()
	best := s.best
	better, proven := p.solve(s.cost)
	if better != nil {
		best = better
	}
	w := newDesk(p)
	cost := p.cost(best, w)
	p.shareOut(best, w, cost)
	p.cost(best, w)
	return p.write(best, proven)
}

// shareOut lets those go who walk less, where somebody else could as well.
func (p *problem) shareOut(s schedule, w *desk, cost float64) {
	minutes := make([]int, len(p.helpers))
	for k := range s {
		for h := range minutes {
			if p.goes(&s[k], h) {
				minutes[h] += p.lasts(&s[k])
			}
		}
	}
	for better := true; better; {
		better = false
		for k := range s {
			o := &s[k]
			if o.pin >= 0 || o.who[1] >= 0 {
				continue
			}
			lasts := p.lasts(o)
			for h := range minutes {
				if !p.canStart(h, o.start) || minutes[h]+lasts >= minutes[o.who[0]] {
					continue
				}
				was := o.who[0]
				o.who[0] = h
				if p.cost(s, w) > cost+tiny {
					o.who[0] = was
					continue
				}
				minutes[was], minutes[h], better = minutes[was]-lasts, minutes[h]+lasts, true
			}
		}
	}
}

// write puts a schedule that was looked at by cost into words of the request.
func (p *problem) write(s schedule, proven bool) Plan {
	plan := Plan{Proven: proven, Rounds: []Round{}}
	visits := p.visitsOf(s)
	plan.Groups = make([]GroupRisk, len(p.req.Groups))
	for g := range plan.Groups {
		plan.Groups[g].Group = p.req.Groups[g].ID
	}
	for a := range p.parts {
		one, i := &p.parts[a], -1
		g := &plan.Groups[one.group]
		for _, j := range append(slices.Clone(visits[a]), len(p.starts)) {
			c := p.at(a, i, j)
			plan.LateHours += one.share * c.late
			g.RunsOver, g.LossL = max(g.RunsOver, c.risk), g.LossL+one.share*c.lossL
			plan.CostL += one.share * c.iceL
			i = j
		}
		plan.LossWithoutL += one.share * p.at(a, -1, len(p.starts)).lossL
		plan.CostL += one.walkL * float64(len(visits[a]))
	}
	for k := range s {
		o := &s[k]
		r := Round{Start: p.time(p.starts[o.start]), Minutes: p.lasts(o), Trips: o.trips, Pinned: p.promised(o)}
		r.End = r.Start.Add(time.Duration(r.Minutes) * time.Minute)
		who := o.who[:]
		if o.pin >= 0 {
			who, r.Pin = p.pins[o.pin].who, p.pins[o.pin].of
		}
		for _, h := range who {
			if h >= 0 && p.helpers[h].id != "" {
				r.Who = append(r.Who, p.helpers[h].id)
			}
		}
		r.Groups = p.loads(o, visits)
		plan.Trips += o.trips
		plan.Rounds = append(plan.Rounds, r)
	}
	plan.ShortOf = p.shortages(s, visits)
	for _, g := range plan.Groups {
		plan.LossL += g.LossL
	}
	plan.CostL += plan.LossL + p.costs.TripWorthL*float64(plan.Trips)
	return plan
}

// promised reports whether somebody has said that they make a round.
func (p *problem) promised(o *outing) bool { return o.pin >= 0 && !p.pins[o.pin].told }

func (p *problem) visitsOf(s schedule) [][]int {
	visits := make([][]int, len(p.parts))
	for k := range s {
		for _, a := range s[k].parts {
			if !slices.Contains(visits[a], s[k].start) {
				visits[a] = append(visits[a], s[k].start)
			}
		}
	}
	return visits
}

func (p *problem) time(minute int) time.Time {
	return p.req.Start.Add(time.Duration(minute) * time.Minute)
}

// loads are the groups of an outing, in the order of the request.
func (p *problem) loads(o *outing, visits [][]int) []GroupLoad {
	parts := slices.Clone(o.parts)
	slices.SortFunc(parts, func(a, b int) int { return cmp.Compare(a, b) })
	loads := []GroupLoad{}
	group := -1
	for _, a := range parts {
		one := p.load(a, o, visits[a])
		if p.parts[a].group != group {
			group = p.parts[a].group
			loads = append(loads, one)
			continue
		}
		l := &loads[len(loads)-1]
		l.Share += one.Share
		l.LowL, l.MidL, l.HighL, l.MeanL = l.LowL+one.LowL, l.MidL+one.MidL, l.HighL+one.HighL, l.MeanL+one.MeanL
		l.SavesL += one.SavesL
		l.RunsOver = max(l.RunsOver, one.RunsOver)
		if one.Latest.Before(l.Latest) {
			l.Latest = one.Latest
		}
	}
	return loads
}

func (p *problem) load(a int, o *outing, visits []int) GroupLoad {
	one := &p.parts[a]
	t, l := p.tables[one.group], &p.req.Groups[one.group]
	k := slices.Index(visits, o.start)
	from, to := -1, len(p.starts)
	if k > 0 {
		from = visits[k-1]
	}
	if k+1 < len(visits) {
		to = visits[k+1]
	}
	c := t.at(from, o.start)
	load := GroupLoad{Group: l.ID, Share: one.share, MeanL: one.share * c.sapL, RunsOver: c.risk,
		TipOut: t.spoils(from, o.start), AgeUsed: t.aged(from, o.start),
		SavesL: max(one.share*(t.at(from, to).lossL-c.lossL-t.at(o.start, to).lossL), 0)}
	sap := t.sap(from, o.start)
	slices.Sort(sap)
	at := func(q float64) float64 {
		if len(sap) == 0 {
			return 0
		}
		return one.share * sap[int(q*float64(len(sap)-1)+0.5)]
	}
	load.LowL, load.MidL, load.HighL = at(0.1), at(0.5), at(0.9)
	load.Why = p.why(t, from, to)
	load.Latest = p.time(p.starts[p.latest(t, from, o.start, to)])
	if p.promised(o) {
		load.Why, load.Latest = WhyPinned, p.time(p.starts[o.start])
	}
	return load
}

// why is what a visit between two others prevents most of.
func (p *problem) why(t *pairTable, from, to int) Why {
	if t.spoils(from, to) {
		// Sap that runs over first is not saved for being young.
		for j := from + 1; j < to; j++ {
			if t.at(from, j).risk > p.accepted {
				return WhyOverflow
			}
			if t.spoils(from, j) {
				return WhyAge
			}
		}
		return WhyAge
	}
	c := t.at(from, to)
	over := 0.0
	for d, ran := range t.ran[to] {
		lost := t.group.over(ran - t.before(from, d))
		if from < 0 {
			lost -= t.overNow[d]
		}
		over += max(lost, 0)
	}
	over /= float64(max(len(t.ran[to]), 1))
	burst := c.lossL - over
	if burst > over && c.risk <= p.accepted {
		return WhyFreeze
	}
	return WhyOverflow
}

// latest is the last start in the light, before the next visit, at which a visit still
// does as much as at its own.
func (p *problem) latest(t *pairTable, from, start, to int) int {
	const littleL, little = 1.0, 0.05
	own := t.at(from, start)
	last := start
	for j := start + 1; j < min(to, len(p.starts)); j++ {
		c := t.at(from, j)
		if c.risk > max(p.accepted, own.risk) || c.lossL > own.lossL*(1+little)+littleL {
			break
		}
		if endOf(p.light, p.starts[j]) > 0 {
			last = j
		}
	}
	return last
}

// sap is what a visit finds, by draw, litres.
func (t *pairTable) sap(i, j int) []float64 {
	l := t.group
	out := make([]float64, len(l.FlowL))
	for d, ran := range t.ran[j] {
		held := ran - t.before(i, d)
		out[d] = max((held-t.iced[j][d])*float64(l.Taps)-t.group.over(held), 0)
	}
	return out
}
