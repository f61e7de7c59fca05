package forecast

import (
	"fmt"
	"sync"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// Prospect is the part of an outlook that depends on neither visits nor prices: the
// weather run through a site's trees. Of one, plans for many notebooks can be made.
type Prospect struct {
	in       Inputs
	ensemble weather.Ensemble
	flow     []groupFlow
	frozen   []float64
	calendar *calendar
	light    func() []rounds.Span // of the days to plan
}

// Foresee runs the weather of a bulletin through a site's trees. Groups without a day
// on which they were bored take it from the visits.
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
	p := &Prospect{in: in, ensemble: ensemble}
	p.flow, p.frozen = runTrees(&p.in.Site, &p.ensemble)
	p.calendar = newCalendar(in.Now, in.Site.Zone, &p.ensemble)
	p.light = sync.OnceValue(func() []rounds.Span { return daylight(&p.in.Site, p.ensemble.Futures[0].Start(), planHours) })
	return p, nil
}

// With is how a notebook and prices would have it, beneath the same weather.
func (p *Prospect) With(visits []records.Visit, g Gathering) (*Standing, error) {
	s := &Standing{p: p, in: p.in}
	s.in.Visits, s.in.Site.Gathering = visits, g
	y, _, err := learnt(&s.in, &p.ensemble, p.flow, p.calendar)
	s.yields = y
	return s, err
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
	loads := loadsOf(&s.in, &p.ensemble, p.flow, p.calendar, s.yields, planHours, everyDraw)
	req := planRequest(&s.in, &p.ensemble, loads, s.yields, nil, &shelf{})
	req.Daylight = p.light()
	return rounds.PlanRounds(req)
}

// Loads is how each group fills over so many coming hours, all draws.
func (s *Standing) Loads(hours int) []rounds.Load {
	return loadsOf(&s.in, &s.p.ensemble, s.p.flow, s.p.calendar, s.yields, hours, 1)
}
