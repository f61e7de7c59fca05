package verify

import (
	"context"
	"fmt"
	"strings"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/sap"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// bushSeason is a season whose weather was followed through the wood for each offset that
// a bush may have.
type bushSeason struct {
	visits  []records.Visit
	groups  []string
	o       *SapOptions
	know    volume.Knowledge
	offsets []float64
	strands []*seasonFlow
}

// wakingDays is how much weather before a season's first visit is followed.
const wakingDays = 100

// newBushSeason follows the weather of visits, of groups of which something is held.
func newBushSeason(w *weather.Series, visits []records.Visit, groups []string, know volume.Knowledge, o *SapOptions) (*bushSeason, error) {
	s := &bushSeason{visits: visits, groups: groups, o: o, know: know, offsets: know.Offsets()}
	from, to := visits[0].CollectedAt.AddDate(0, 0, -wakingDays), visits[len(visits)-1].CollectedAt.Add(48*time.Hour)
	if from.Before(w.Start()) {
		from = w.Start()
	}
	if to.After(w.End()) {
		to = w.End()
	}
	spring := w.Between(from, to)
	var err error
	s.strands, err = newStrands(&spring, o, s.offsets)
	return s, err
}

// heldAgainst are the visits, in order of time, along each strand.
func (s *bushSeason) heldAgainst(p *sap.Parameters) [][]collection {
	var at [][]collection
	for _, f := range s.strands {
		f.sap = *p
		at = append(at, f.collections(s.visits, s.groups, s.o))
	}
	return at
}

// alongStrands is one visit as all strands see it.
func alongStrands(at [][]collection, visit int) []volume.Visit {
	out := make([]volume.Visit, len(at))
	for n := range at {
		out[n] = at[n][visit].Visit
	}
	return out
}

// run foretells the season's visits, each from those before, with constants of the flow.
func (s *bushSeason) run(ctx context.Context, p *sap.Parameters, r *SapResult) error {
	at := s.heldAgainst(p)
	before, err := volume.Learn(s.know, s.offsets, nil)
	if err != nil {
		return fmt.Errorf("before any visit: %w", err)
	}
	held, bush := before.Weights(), before
	var learnt [][]volume.Visit
	var came []volume.Visit
	habit := 0.0
	for i := range at[0] {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("stopped after %d of %d visits: %w", i, len(at[0]), err)
		}
		if s.o.Progress != nil {
			s.o.Progress(i, len(at[0]))
		}
		c := at[0][i]
		if c.Why != "" {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %s", c.date, c.Why))
			continue
		}
		strands := alongStrands(at, i)
		flowL := 0.0
		for n := range strands {
			flowL += held[n] * strands[n].ExpectedL
		}
		r.score(&c, flowL, bush.Collect(strands, s.o.ContainerL*float64(c.Visit.Taps), s.o.drawn(), uint64(i)))
		habit += CRPS(habitDraws(came, c.Visit, sapDraws), c.Visit.ObservedL)
		learnt, came = append(learnt, strands), append(came, c.Visit)
		if bush, err = volume.Learn(s.know, s.offsets, learnt); err != nil {
			return fmt.Errorf("the visit of %s: %w", c.date, err)
		}
	}
	if len(r.Visits) < 3 {
		return fmt.Errorf("%d visits can be scored, and at least 3 are needed: %s", len(r.Visits), strings.Join(r.Notes, "; "))
	}
	r.finish(habit / float64(len(r.Visits)))
	r.Offset = &Offset{}
	r.Offset.MeanK, r.Offset.SDK = bush.Offset()
	return nil
}

// learnt is what all visits of the season teach.
func (s *bushSeason) learnt() (*volume.Bush, error) {
	at := s.heldAgainst(s.o.flow())
	var taught [][]volume.Visit
	for i := range at[0] {
		if at[0][i].Why == "" {
			taught = append(taught, alongStrands(at, i))
		}
	}
	bush, err := volume.Learn(s.know, s.offsets, taught)
	if err != nil {
		return nil, fmt.Errorf("records: %w", err)
	}
	return bush, nil
}
