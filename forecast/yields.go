package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// drawsPerMember is how many yields are tried with each member of the weather.
const drawsPerMember = 8

// groupDraws holds the factors of one group, a row of days for each draw; draw
// d goes with member d / drawsPerMember.
type groupDraws [][]float64

// yields is what the notebook teaches: the yields, and what hangs at each
// group's taps now.
type yields struct {
	posterior *volume.Posterior
	entries   [][]notebook.Entry // of each group's visits
	now       []notebook.Now
	draws     []groupDraws
	learnt    []int // visits of each group
	steps     []Yield
	mean      []float64 // what a tap of each group gives for a usual tap's litre
}

// learnYields holds the visits against the flow of the past and draws yields
// for the days of the calendar.
func learnYields(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar) (*yields, error) {
	y, visits, err := learnt(in, e, flow, c)
	if err != nil {
		return nil, err
	}
	return y, y.follow(in, in.beliefs(), visits)
}

// learnt is what the visits teach, without how they came to it.
func learnt(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar) (*yields, []volume.Visit, error) {
	y := &yields{}
	priors := in.beliefs()
	entries, nows, visits := heldAgainst(in, &e.Past, nil, flow)
	y.entries, y.now, y.learnt = entries, nows, make([]int, len(entries))
	var season time.Time
	for g := range entries {
		if group := &in.Site.Groups[g]; len(entries[g]) == 0 && !group.Tapped.IsZero() && group.Pulled.IsZero() {
			y.now[g] = notebook.Hung(&e.Past, flow[g].past, group.Tapped)
		}
		for i := range entries[g] {
			if one := &entries[g][i]; one.Why == "" {
				y.learnt[g]++
				season = one.At.Add(-time.Duration(one.Visit.Months * 720 * float64(time.Hour)))
			}
		}
	}
	var err error
	if y.posterior, err = volume.Learn(priors, visits); err != nil {
		return nil, nil, fmt.Errorf("tap records of %s: %w", in.Site.ID, err)
	}
	for g := range entries {
		y.mean = append(y.mean, y.posterior.MeanYield(g))
	}
	months := make([]float64, len(c.dates))
	if !season.IsZero() {
		for d := range months {
			months[d] = c.dates[d].Sub(season).Hours() / 720
		}
	}
	for _, f := range y.posterior.Factors(len(e.Futures)*drawsPerMember, months, in.Seed) {
		y.draws = append(y.draws, f)
	}
	return y, visits, nil
}

// heldAgainst holds the visits of each group against the flow of its taps: an entry for
// each, what hangs now, and those that teach, in the order of the season.
func heldAgainst(in *Inputs, w *weather.Series, missing []bool, flow []groupFlow) (entries [][]notebook.Entry, nows []notebook.Now, visits []volume.Visit) {
	entries, nows = make([][]notebook.Entry, len(flow)), make([]notebook.Now, len(flow))
	for g := range flow {
		group := &in.Site.Groups[g]
		entries[g], nows[g] = notebook.Read(w, missing, in.Site.Zone, in.visitsOf(group.ID), notebook.Taps{
			Group: g, Count: group.Taps, ContainerL: group.ContainerL, Out: group.out(), Bored: func(int) []float64 { return flow[g].past },
		})
		for i := range entries[g] {
			if entries[g][i].Why == "" {
				visits = append(visits, entries[g][i].Visit)
			}
		}
	}
	slices.SortStableFunc(visits, func(a, b volume.Visit) int { return cmp.Compare(a.Months, b.Months) })
	return entries, nows, visits
}

// follow tells how the yields moved as visits came in.
func (y *yields) follow(in *Inputs, priors []volume.Belief, visits []volume.Visit) error {
	for g := range in.Site.Groups {
		y.steps = append(y.steps, Yield{Group: in.Site.Groups[g].ID, Visits: y.learnt[g], EarlierSeasons: in.Taught.seasonsOf(g)})
	}
	for _, n := range []int{0, 5, 10, 30, len(visits)} {
		if done := y.steps[0].Steps; n > len(visits) || len(done) > 0 && done[len(done)-1].After >= n {
			continue
		}
		p, err := volume.Learn(priors, visits[:n])
		if err != nil {
			return fmt.Errorf("tap records of %s: %w", in.Site.ID, err)
		}
		for g := range y.steps {
			mean, sd := p.LogYield(g)
			season := func(sigmas float64) float64 {
				return round(volume.UsualSeasonL*math.Exp(mean+p.Spread()*p.Spread()/2+sigmas*sd), 1)
			}
			const tenth = 1.2816
			y.steps[g].Steps = append(y.steps[g].Steps, YieldStep{n, Range{season(-tenth), season(0), season(tenth)}})
		}
	}
	return nil
}

// visitsOf are the visits of one group up to now, oldest first, the loads of each
// joined. A record that names no group speaks of the only one.
func (in *Inputs) visitsOf(group string) []records.Visit {
	var own []records.Visit
	for _, v := range in.Visits {
		if (v.Site == "" || v.Site == in.Site.ID) && (v.Group == group || v.Group == "" && len(in.Site.Groups) == 1) && !v.CollectedAt.After(in.Now) {
			own = append(own, v)
		}
	}
	records.Sort(own)
	taps := 0
	for i := range in.Site.Groups {
		if in.Site.Groups[i].ID == group {
			taps = in.Site.Groups[i].Taps
		}
	}
	return records.JoinLoads(own, taps)
}
