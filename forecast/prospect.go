package forecast

import (
	"fmt"
	"slices"
	"sync"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Prospect is the part of an outlook that does not depend on prices: the weather run
// through a site's trees, and what visits taught of them. Of one, plans for many
// notebooks can be made.
type Prospect struct {
	in       Inputs
	ensemble weather.Ensemble // the bush's own
	own      weather.Own      // what its thermometer taught
	eyes     Eyes             // what bushes near by told of today
	shifted  func() (shiftsK []float64, flows [][]float64)
	strands  *strands
	held     *held
	bush     *volume.Bush
	frozen   []float64
	calendar *calendar
	light    func() []rounds.Span // of the days to plan
}

// Foresee runs the weather of a bulletin through a site's trees: the past along each
// offset that the bush's air may have, and each future from the end of one of them, which
// are drawn by what visits tell. Groups without a day on which they were bored take it
// from the visits.
func Foresee(in Inputs) (*Prospect, error) {
	if in.Site.Taps() <= 0 {
		return nil, fmt.Errorf("site %s has no taps: give each group its number of taps", in.Site.ID)
	}
	datedTaps(&in)
	namesFromAttendance(&in)
	in.Bulletin.Course = in.Before.Overlay(&in.Bulletin.Course)
	ensemble, err := weather.Assemble(&in.Bulletin, in.Site.Place, in.Now, in.Seed)
	if err != nil {
		return nil, fmt.Errorf("outlook for %s: %w", in.Site.ID, err)
	}
	eyes := takeNear(&in, &ensemble)
	own := takeOwn(&in, &ensemble, &in.Bulletin.Course)
	p := &Prospect{in: in, ensemble: ensemble, own: own, eyes: eyes}
	know := in.knowledge()
	p.strands = followPast(&p.in.Site, &p.ensemble, know.Offsets())
	p.held = heldAgainst(&p.in, p.strands, nil)
	if p.bush, err = p.held.learn(&p.in, p.strands); err != nil {
		return nil, err
	}
	p.strands.weigh(p.bush)
	of := p.bush.Strands(len(p.ensemble.Futures), in.Seed)
	mean, _ := p.bush.Offset()
	futures := make([]float64, len(of))
	for m, n := range of {
		futures[m] = p.strands.offsets[n]
	}
	p.ensemble.Warm(mean, futures)
	p.calendar = newCalendar(in.Now, in.Site.Zone, &p.ensemble)
	p.frozen = p.strands.foresee(&p.in.Site, &p.ensemble, of, p.calendar)
	p.shifted = sync.OnceValues(p.ifToday)
	p.light = sync.OnceValue(func() []rounds.Span { return daylight(&p.in.Site, p.ensemble.Futures[0].Start(), planHours) })
	return p, nil
}

// redrawn is a prospect whose members come from the strands as what was learnt has them:
// some count several times, others not at all.
func (p *Prospect) redrawn(bush *volume.Bush) *Prospect {
	of := p.strands.flow[0].of
	members := make([][]int, len(p.strands.offsets))
	for m, n := range of {
		members[n] = append(members[n], m)
	}
	q := *p
	q.ensemble.Futures = nil
	q.strands = &strands{offsets: p.strands.offsets, past: p.strands.past, frozen: p.strands.frozen, flow: slices.Clone(p.strands.flow)}
	q.strands.weigh(bush)
	drawn := bush.Strands(len(of), p.in.Seed)
	next := make([]int, len(members))
	picked := make([]int, 0, len(of))
	for _, n := range drawn {
		n = nearestWith(members, n)
		m := members[n][next[n]%len(members[n])]
		next[n]++
		picked = append(picked, m)
		q.ensemble.Futures = append(q.ensemble.Futures, p.ensemble.Futures[m])
	}
	for g := range q.strands.flow {
		f := &q.strands.flow[g]
		from := f.futures
		f.of, f.futures = make([]int, len(picked)), make([][]float64, len(picked))
		for i, m := range picked {
			f.of[i], f.futures[i] = of[m], from[m]
		}
	}
	return &q
}

// nearestWith is the strand next to one that has members.
func nearestWith(members [][]int, strand int) int {
	for d := range members {
		for _, n := range []int{strand - d, strand + d} {
			if n >= 0 && n < len(members) && len(members[n]) > 0 {
				return n
			}
		}
	}
	return strand
}

// With is how a notebook and prices would have it, beneath the same weather: its visits,
// made as planned, move the yields, and how much each member's offset counts.
func (p *Prospect) With(visits []records.Visit, g Gathering) (*Standing, error) {
	s := &Standing{in: p.in}
	s.in.Visits, s.in.Site.Gathering, s.in.ByPlan = visits, g, true
	h := heldAgainst(&s.in, p.strands, nil)
	bush, err := h.learn(&s.in, p.strands)
	if err != nil {
		return nil, err
	}
	s.p = p.redrawn(bush)
	s.yields = learnt(&s.in, h, bush, s.p.strands.flow, p.calendar)
	return s, nil
}

// Standing is what hangs by a notebook, and what is to come.
type Standing struct {
	p      *Prospect
	in     Inputs
	yields *yields
}

// Plan is the plan of the coming days.
func (s *Standing) Plan() rounds.Plan {
	p := s.p
	loads := loadsOf(&s.in, &p.ensemble, p.strands.flow, p.calendar, s.yields, planHours, everyDraw)
	req := planRequest(&s.in, &p.ensemble, loads, nil, &shelf{})
	req.Daylight = p.light()
	return rounds.PlanRounds(req)
}

// Loads is how each group fills over so many coming hours, all draws.
func (s *Standing) Loads(hours int) []rounds.Load {
	return loadsOf(&s.in, &s.p.ensemble, s.p.strands.flow, s.p.calendar, s.yields, hours, 1)
}
