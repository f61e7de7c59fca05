package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"thawline/forecast/notebook"
	"thawline/forecast/volume"
)

// held is the notebook held against the past of a bush: what each visit should have
// brought, and what hangs now.
type held struct {
	entries [][][]notebook.Entry // by group, strand and visit
	now     [][]notebook.Now     // by group and strand
	visits  [][]volume.Visit     // those that teach, in the order of the season, along each strand
}

// heldAgainst holds the visits of each group against the flow of its taps.
func heldAgainst(in *Inputs, s *strands, missing []bool) *held {
	h := &held{entries: make([][][]notebook.Entry, len(s.flow)), now: make([][]notebook.Now, len(s.flow))}
	for g, visits := range in.visitsByGroup() {
		group := &in.Site.Groups[g]
		for n := range s.offsets {
			taps := notebook.Taps{
				Group: g, Count: group.Taps, ContainerL: group.ContainerL, TankL: group.TankL, Out: group.out(),
				Bored: func(int) []float64 { return s.flow[g].strands[n] },
			}
			entries, now := notebook.Read(&s.past[n], missing, in.Site.Zone, visits, taps)
			if len(entries) == 0 && !group.Tapped.IsZero() && group.Pulled.IsZero() {
				now = notebook.Hung(&s.past[n], s.flow[g].strands[n], group.Tapped, taps)
			}
			h.entries[g], h.now[g] = append(h.entries[g], entries), append(h.now[g], now)
		}
		for i := range h.entries[g][0] {
			if h.entries[g][0][i].Why == "" {
				h.visits = append(h.visits, h.along(g, i))
			}
		}
	}
	h.sort()
	return h
}

// sort puts the visits that teach in the order of the season.
func (h *held) sort() {
	slices.SortStableFunc(h.visits, func(a, b []volume.Visit) int { return cmp.Compare(a[0].Months, b[0].Months) })
}

// along is one visit of a group as each strand sees it.
func (h *held) along(group, visit int) []volume.Visit {
	out := make([]volume.Visit, len(h.entries[group]))
	for n := range out {
		out[n] = h.entries[group][n][visit].Visit
	}
	return out
}

// entriesOf are a group's visits, of which only what no strand changes counts.
func (h *held) entriesOf(group int) []notebook.Entry { return h.entries[group][0] }

// hangs is how things most likely stand at a group now.
func (h *held) hangs(group int, weights []float64) notebook.Now {
	now := h.now[group][0]
	now.Pail.LiquidL, now.Pail.IceL = 0, 0
	for n, w := range weights {
		now.Pail.LiquidL += w * h.now[group][n].Pail.LiquidL
		now.Pail.IceL += w * h.now[group][n].Pail.IceL
	}
	return now
}

// learn is what the visits teach of a bush.
func (h *held) learn(in *Inputs, s *strands) (*volume.Bush, error) {
	bush, err := in.Memory.Learn(in.knowledge(), s.offsets, h.visits)
	if err != nil {
		return nil, fmt.Errorf("tap records of %s: %w", in.Site.ID, err)
	}
	if err := h.feelIce(bush); err != nil {
		return nil, err
	}
	return bush, hear(in, s, bush)
}

// Ice in a pail is seen from about iceL litres on, and now and then written down for what
// lay there before (common practice).
const (
	iceL     = 0.1
	iceWrong = 0.05
)

// feelIce takes in where ice was seen in pails. That none is written down says nothing.
func (h *held) feelIce(bush *volume.Bush) error {
	for g := range h.entries {
		for i := range h.entriesOf(g) {
			if !h.entries[g][0][i].Iced {
				continue
			}
			chances := make([]float64, len(h.entries[g]))
			for n := range chances {
				chances[n] = iceWrong + (1-iceWrong)*(1-math.Exp(-h.entries[g][n][i].IceL/iceL))
			}
			if err := bush.Believe(chances); err != nil {
				return err
			}
		}
	}
	return nil
}
