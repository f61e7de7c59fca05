package verify

import (
	"fmt"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/sap"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// bushSeason is a season whose weather was followed through the wood for each offset.
type bushSeason struct {
	visits []records.Visit
	o      SapOptions
	nodes  []*seasonFlow
	notes  []string
}

// offsetSDK is how far a bush's air strays from where the weather is measured, K.
const offsetSDK = 1.0

// wakingDays is how much weather before a season's first visit is followed.
const wakingDays = 100

func newBushSeason(w *weather.Series, visits []records.Visit, o SapOptions) (*bushSeason, error) {
	s := &bushSeason{visits: visits, o: o}
	var r SapResult
	if s.o.Taps == 0 {
		s.o.Taps = usualTaps(&r, visits, nil)
		s.notes = r.Notes
	}
	from, to := visits[0].CollectedAt.AddDate(0, 0, -wakingDays), visits[len(visits)-1].CollectedAt.Add(48*time.Hour)
	if from.Before(w.Start()) {
		from = w.Start()
	}
	if to.After(w.End()) {
		to = w.End()
	}
	spring := w.Between(from, to)
	for _, k := range volume.OffsetNodes {
		at := s.o
		at.WarmerK += k
		f, err := newSeasonFlow(&spring, &at)
		if err != nil {
			return nil, err
		}
		s.nodes = append(s.nodes, f)
	}
	return s, checkVisits(visits, s.nodes[0], o.Now)
}

// run foretells the season's visits with other constants of the flow.
func (s *bushSeason) run(p *sap.Parameters) (SapResult, error) {
	r := SapResult{Notes: append([]string{}, s.notes...), Visits: []SapVisit{}}
	groups := groupsOf(s.visits)
	var at [][]collection // by node
	for _, f := range s.nodes {
		f.sap = *p
		at = append(at, f.collections(s.visits, groups, &s.o))
	}
	middle := len(volume.OffsetNodes) / 2
	bushes := make([]*volume.Bush, len(groups))
	for g := range bushes {
		bushes[g] = volume.NewBush(volume.BushPrior(s.o.Method), volume.OffsetNodes, 0, offsetSDK)
	}
	var learnt []volume.Visit
	habit := 0.0
	for i := range at[middle] {
		c := at[middle][i]
		if c.Why != "" {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %s", c.date, c.Why))
			continue
		}
		nodes := make([]volume.Visit, len(volume.OffsetNodes))
		for n := range nodes {
			nodes[n] = at[n][i].Visit
		}
		b := bushes[c.Visit.Group]
		r.score(&c, b.Collect(nodes, s.o.ContainerL*float64(c.Visit.Taps), sapDraws, uint64(i)))
		habit += CRPS(habitDraws(learnt, c.Visit, sapDraws), c.Visit.ObservedL)
		if err := b.Learn(nodes); err != nil {
			return r, fmt.Errorf("the visit of %s: %w", c.date, err)
		}
		learnt = append(learnt, c.Visit)
	}
	if len(r.Visits) < 3 {
		return r, fmt.Errorf("%d visits can be scored, and at least 3 are needed", len(r.Visits))
	}
	r.finish(habit / float64(len(r.Visits)))
	r.Offset = &Offset{}
	r.Offset.MeanK, r.Offset.SDK = bushes[0].Offset()
	return r, nil
}
