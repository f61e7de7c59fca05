package rounds

import (
	"slices"
	"time"
)

// shortages says, day by day, for want of what the accepted risk is not kept.
func (p *problem) shortages(s schedule, visits [][]int) []Shortage {
	var crew crewTable
	crew.fill(p, s)
	room := p.roomBeside(s)
	var out []Shortage
	for a := range p.parts {
		i := -1
		for _, j := range append(slices.Clone(visits[a]), len(p.starts)) {
			if p.at(a, i, j).late > tiny {
				out = p.addShortage(out, s, a, i, j, p.want(s, &crew, room, a, i))
			}
			i = j
		}
	}
	out = slices.DeleteFunc(out, func(x Shortage) bool { return x.NeededL < x.PossibleL+1 })
	slices.SortStableFunc(out, func(x, y Shortage) int { return x.On.Compare(y.On) })
	return out
}

// lateFrom is the first start after i at which a part's risk is beyond the accepted one.
func (p *problem) lateFrom(a, i int) int { return int(p.tables[p.parts[a].group].rows[i+1].late) }

func (p *problem) addShortage(out []Shortage, s schedule, a, i, j int, what Want) []Shortage {
	one := &p.parts[a]
	late := p.lateFrom(a, i)
	if late == len(p.starts) { // in the plan's last night: the next plan sees further
		return out
	}
	on := p.time(p.starts[late])
	sameDay := func(t time.Time) bool {
		y, m, d := t.In(p.req.Start.Location()).Date()
		yy, mm, dd := on.Date()
		return y == yy && m == mm && d == dd
	}
	k := slices.IndexFunc(out, func(x Shortage) bool { return x.What == what && sameDay(x.On) })
	if k < 0 {
		k = len(out)
		out = append(out, Shortage{What: what, On: on})
		for n := range s {
			if sameDay(p.time(p.starts[s[n].start])) {
				out[k].PossibleL += s[n].sapL
			}
		}
		out[k].NeededL = out[k].PossibleL
	}
	x := &out[k]
	if on.Before(x.On) {
		x.On = on
	}
	// What runs over before a visit on that day is needed besides; else all that is there.
	if j < len(p.starts) && sameDay(p.time(p.starts[j])) {
		x.NeededL += one.share * p.at(a, i, j).lossL
	} else {
		c := p.at(a, i, late)
		x.NeededL += one.share * (c.sapL + c.lossL)
	}
	if id := p.req.Groups[one.group].ID; !slices.Contains(x.Groups, id) {
		x.Groups = append(x.Groups, id)
	}
	return out
}

// want is what hinders a visit in time.
func (p *problem) want(s schedule, crew *crewTable, room []float64, a, i int) Want {
	one, late := &p.parts[a], p.lateFrom(a, i)
	for t := i + 1; t < late; t++ {
		sap := one.share * p.at(a, i, t).sapL
		trips := p.trips(sap)
		if sap > room[t] && crew.canTake(p, one, t, trips) {
			return p.wantStore(s, t)
		}
	}
	for t := i + 1; t < late; t++ {
		trips := p.trips(one.share * p.at(a, i, t).sapL)
		if trips > 1 && !crew.canTake(p, one, t, trips) && crew.canTake(p, one, t, 1) {
			return WantCarrying
		}
	}
	// Trips beyond the first of each round, would they make time for one more group?
	carried := 0.0
	for k := range s {
		if s[k].start > i && s[k].start < late {
			carried += p.costs.TripMinutes * float64(s[k].trips-1)
		}
	}
	if carried >= one.takes(1)+p.costs.TripMinutes {
		return WantCarrying
	}
	if p.onlyDark(one, i, late) {
		return WantDaylight
	}
	return WantHands
}

// onlyDark says whether somebody could have gone after start i in time, but for the dark.
func (p *problem) onlyDark(one *part, i, late int) bool {
	between := stretch{p.now, p.minutes}
	if i >= 0 {
		between.from = p.starts[i]
	}
	if late < len(p.starts) {
		between.to = p.starts[late]
	}
	need := int(one.takes(1) + p.costs.TripMinutes)
	for _, h := range p.helpers {
		for _, x := range without(inside(h.dark, []stretch{between}), h.free) {
			if x.to-x.from >= need {
				return true
			}
		}
	}
	return false
}

// wantStore is whether the pan or the tank is too small: the pan where a day of it
// takes out less than was brought in a day.
func (p *problem) wantStore(s schedule, t int) Want {
	const day = 24 * 60
	at := p.starts[t]
	brought := 0.0
	for k := range s {
		if m := p.starts[s[k].start]; m > at-day && m <= at {
			brought += s[k].sapL
		}
	}
	if p.boils(max(at-day, 0), at) < brought {
		return WantPan
	}
	return WantTank
}

// canTake says whether one who is free, or two, can empty a part with so many trips.
func (t *crewTable) canTake(p *problem, one *part, j, trips int) bool {
	return t.whoFor(p, one, j, trips)[0] >= 0
}

// whoFor is who can go to a part alone, or else the two who can; -1 if nobody.
func (t *crewTable) whoFor(p *problem, one *part, j, trips int) [2]int {
	carry := p.costs.TripMinutes * float64(trips)
	if c := &t.single[j]; p.starts[j]+minutesOf(one.takes(1)+carry) <= c.till {
		return c.who
	}
	if c := &t.pair[j]; p.starts[j]+minutesOf(one.takes(2)+carry) <= c.till {
		return c.who
	}
	return [2]int{-1, -1}
}
