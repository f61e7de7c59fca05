package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/volume"
)

// drawsPerMember is how many yields are tried with each member of the weather.
const drawsPerMember = 8

// groupDraws holds the factors of one group, a row of days for each draw; draw
// d goes with member d / drawsPerMember.
type groupDraws [][]float64

// yields is what the notebook teaches: the yields, and what hangs at each
// group's taps now.
type yields struct {
	bush    *volume.Bush
	entries [][]notebook.Entry // of each group's visits
	now     []notebook.Now
	hangs   [][]notebook.Now // along each strand
	unseen  []bool           // groups of whose taps there is no record at all
	draws   []groupDraws
	learnt  []int     // visits of each group
	mean    []float64 // what a tap of each group gives for a usual tap's litre
}

// learnt draws yields for the days of the calendar from what visits taught.
func learnt(in *Inputs, h *held, bush *volume.Bush, flow []groupFlow, c *calendar) *yields {
	y := &yields{bush: bush, hangs: h.now, learnt: make([]int, len(flow))}
	weights := bush.Weights()
	var season time.Time
	for g := range flow {
		y.entries = append(y.entries, h.entriesOf(g))
		y.now = append(y.now, h.hangs(g, weights))
		y.unseen = append(y.unseen, len(y.entries[g]) == 0 && len(in.tapEventsOf(in.Site.Groups[g].ID)) == 0)
		for i := range y.entries[g] {
			if one := &y.entries[g][i]; one.Why == "" {
				y.learnt[g]++
				season = one.At.Add(-time.Duration(one.Visit.Months * 720 * float64(time.Hour)))
			}
		}
		y.mean = append(y.mean, bush.MeanYield(g))
	}
	months := make([]float64, len(c.dates))
	if !season.IsZero() {
		for d := range months {
			months[d] = c.dates[d].Sub(season).Hours() / 720
		}
	}
	for _, f := range bush.Factors(flow[0].of, drawsPerMember, months, in.Seed) {
		y.draws = append(y.draws, f)
	}
	return y
}

// emptied are yields of which some groups are taken to be empty now, with nothing known of
// when they were last emptied.
func (y *yields) emptied(groups []int) *yields {
	out := *y
	out.now, out.hangs = slices.Clone(y.now), slices.Clone(y.hangs)
	for _, g := range groups {
		out.now[g] = notebook.Now{EmptiedAt: -1}
		out.hangs[g] = make([]notebook.Now, len(y.hangs[g]))
		for n := range out.hangs[g] {
			out.hangs[g][n] = out.now[g]
		}
	}
	return &out
}

// follow tells how the yields of groups whose taps are in moved as visits came in.
func (y *yields) follow(in *Inputs, s *strands, visits [][]volume.Visit) ([]Yield, error) {
	var yields []Yield
	for g := range in.Site.Groups {
		yields = append(yields, Yield{Group: in.Site.Groups[g].ID, Visits: y.learnt[g], EarlierSeasons: in.Taught.seasonsOf(g)})
	}
	for _, n := range []int{0, 5, 10, 30, len(visits)} {
		if done := yields[0].Steps; n > len(visits) || len(done) > 0 && done[len(done)-1].After >= n {
			continue
		}
		p := y.bush
		if n < len(visits) {
			var err error
			if p, err = in.Memory.Learn(in.knowledge(), s.offsets, visits[:n]); err != nil {
				return nil, fmt.Errorf("tap records of %s: %w", in.Site.ID, err)
			}
		}
		for g := range yields {
			mean, sd := p.LogYield(g)
			season := func(sigmas float64) float64 {
				return round(volume.UsualSeasonL*math.Exp(mean+p.Spread()*p.Spread()/2+sigmas*sd), 1)
			}
			const tenth = 1.2816
			yields[g].Steps = append(yields[g].Steps, YieldStep{n, Range{season(-tenth), season(0), season(tenth)}})
		}
	}
	return those(yields, func(g int) bool { return in.Site.Groups[g].Pulled.IsZero() }), nil
}

// visitsByGroup are the visits of each group up to now, oldest first, the loads of each
// joined. A record that names no group speaks of the only one.
func (in *Inputs) visitsByGroup() [][]records.Visit {
	groups := in.Site.Groups
	own, of := make([][]records.Visit, len(groups)), make(map[string]int, len(groups)+1)
	for g := range groups {
		of[groups[g].ID] = g
	}
	if len(groups) == 1 {
		of[""] = 0
	}
	each := func(do func(g int, v *records.Visit)) {
		for i := range in.Visits {
			v := &in.Visits[i]
			if g, known := of[v.Group]; known && (v.Site == "" || v.Site == in.Site.ID) && !v.CollectedAt.After(in.Now) {
				do(g, v)
			}
		}
	}
	count := make([]int, len(groups))
	each(func(g int, _ *records.Visit) { count[g]++ })
	for g, n := range count {
		own[g] = make([]records.Visit, 0, n)
	}
	each(func(g int, v *records.Visit) { own[g] = append(own[g], *v) })
	for g := range own {
		records.Sort(own[g])
		for i := 1; i < len(own[g]); i++ {
			if own[g][i].IsLoadWith(&own[g][i-1]) {
				own[g] = records.JoinLoads(own[g], groups[g].Taps)
				break
			}
		}
	}
	return own
}

// offsetOf says how much warmer the bush is than the forecast's air.
func offsetOf(in *Inputs, p *Prospect) BushOffset {
	bush := p.bush
	low, high := bush.OffsetRange(0.8)
	mean, _ := bush.Offset()
	o := BushOffset{WarmerK: Range{round(min(low, mean), 2), round(mean, 2) + 0, round(max(high, mean), 2)}, Visits: bush.Visits}
	o.Words = len(words(in, p.strands))
	if o.Lows, o.Highs = p.own.Lows, p.own.Highs; o.Lows+o.Highs > 0 {
		apart := p.own.LowK - p.own.HighK
		dawn, day := round(mean+apart/2, 2)+0, round(mean-apart/2, 2)+0
		o.DawnWarmerK, o.DayWarmerK = &dawn, &day
	}
	for g := range in.Site.Groups {
		o.EarlierSeasons = max(o.EarlierSeasons, in.Taught.seasonsOf(g)-in.Taught.BySums)
	}
	return o
}
