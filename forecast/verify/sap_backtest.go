package verify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// SapResult is how well collected volumes were foretold, each from the weather
// and earlier visits alone.
type SapResult struct {
	N            int        `json:"n"`
	Spearman     float64    `json:"spearman"`
	Spearman90   Interval   `json:"spearman_interval90"`
	Pearson      float64    `json:"pearson"`
	CRPSL        float64    `json:"crps_l"`
	CRPSSkill    float64    `json:"crps_skill"` // over the volumes of all other visits as a forecast
	Coverage80   float64    `json:"coverage80"`
	RuleSpearman float64    `json:"rule_spearman"`        // of the days since the last visit that pass the threshold rule
	HeatSpearman float64    `json:"degree_hour_spearman"` // of the degree hours above freezing since then
	MeanPIT      float64    `json:"mean_pit"`
	Visits       []SapVisit `json:"visits"`
	Notes        []string   `json:"notes"` // visits that were not scored, and why
}

// SapVisit is one collection foretold, litres.
type SapVisit struct {
	Date      string  `json:"date"`
	Group     string  `json:"group,omitempty"`
	ObservedL float64 `json:"observed_l"`
	AtLeast   bool    `json:"at_least,omitempty"` // a container was full
	P10       float64 `json:"p10"`
	P50       float64 `json:"p50"`
	P90       float64 `json:"p90"`

	expectedL, rule, heat float64
}

// SapOptions says what to backtest.
type SapOptions struct {
	Place         weather.Place
	Zone          *time.Location
	Method        volume.Method // volume.Pail if empty
	Canopy        trunk.Canopy
	TreeDiameterM float64
	Taps          int       // where the records do not say
	ContainerL    float64   // at each tap, 0 if not known
	WarmerK       float64   // what the bush is warmer by than where the weather was measured
	Without       Without   // parts of the model left out, for ablation
	Now           time.Time // visits after it are slips; the zero time lets all pass
	Progress      func(done, of int)
}

// sapDraws is how many volumes stand for the forecast of one visit.
const sapDraws = 200

// BacktestSap foretells each volume of the records from the weather and the
// visits before it. Visits sum the hours since the one before; a blank or "not
// checked" leaves the pails to the next; sap poured away is lost and not
// scored; a full container counts as "at least"; ice stays in the pails until
// the air has melted it. train holds earlier seasons to learn from.
func BacktestSap(ctx context.Context, w *weather.Series, visits []records.Visit, train []Season, o SapOptions) (SapResult, error) {
	r := SapResult{Notes: []string{}, Visits: []SapVisit{}}
	flow, err := newSeasonFlow(w, &o)
	if err != nil {
		return r, err
	}
	if err := checkVisits(visits, flow, o.Now); err != nil {
		return r, err
	}
	groups := groupsOf(visits)
	for _, season := range train {
		groups = append(groups, groupsOf(season.Visits)...)
	}
	slices.Sort(groups)
	groups = slices.Compact(groups)
	priors := make([]volume.Belief, len(groups))
	for i := range priors {
		priors[i] = volume.Prior(o.Method)
	}
	for _, season := range train {
		season.Visits = r.before(visits[0].CollectedAt, season.Visits)
		if priors, err = r.teach(season, priors, groups, o); err != nil {
			return r, err
		}
	}
	var learnt []volume.Visit

	all := flow.collections(visits, groups, &o)
	for i, c := range all {
		if err := ctx.Err(); err != nil {
			return r, fmt.Errorf("stopped after %d of %d visits: %w", i, len(all), err)
		}
		if o.Progress != nil {
			o.Progress(i, len(all))
		}
		if c.why != "" {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: %s", c.date, c.why))
			continue
		}
		belief, err := volume.Learn(priors, learnt)
		if err != nil {
			return r, fmt.Errorf("before the visit of %s: %w", c.date, err)
		}
		draws := belief.Collect(c.visit, o.ContainerL*float64(c.visit.Taps), sapDraws, uint64(i))
		r.score(&c, draws)
		learnt = append(learnt, c.visit)
	}
	if len(r.Visits) < 3 {
		return r, fmt.Errorf("%d visits can be scored, and at least 3 are needed: %s", len(r.Visits), strings.Join(r.Notes, "; "))
	}
	r.finish()
	return r, nil
}

// Season is the records of earlier years and the weather of theirs.
type Season struct {
	Weather *weather.Series
	Visits  []records.Visit
}

// before drops training visits that are not earlier than the first one to
// foretell: they could not have been known.
func (r *SapResult) before(first time.Time, visits []records.Visit) []records.Visit {
	var earlier []records.Visit
	for _, v := range visits {
		if v.CollectedAt.Before(first) {
			earlier = append(earlier, v)
		}
	}
	if later := len(visits) - len(earlier); later > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%d training visits are not earlier than the first one to foretell and teach nothing", later))
	}
	return earlier
}

// teach returns the priors that a season leaves to the next.
func (r *SapResult) teach(s Season, priors []volume.Belief, groups []string, o SapOptions) ([]volume.Belief, error) {
	o.WarmerK = 0
	flow, err := newSeasonFlow(s.Weather, &o)
	if err != nil {
		return nil, fmt.Errorf("training weather: %w", err)
	}
	covered, dropped := flow.covered(s.Visits)
	if dropped > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%d training visits lie outside the weather and teach nothing", dropped))
	}
	var taught []volume.Visit
	for _, c := range flow.collections(covered, groups, &o) {
		if c.why == "" {
			taught = append(taught, c.visit)
		}
	}
	if len(taught) == 0 {
		return priors, nil
	}
	after, err := volume.Learn(priors, taught)
	if err != nil {
		return nil, fmt.Errorf("training records: %w", err)
	}
	return after.NextSeason(), nil
}

func (r *SapResult) score(c *collection, draws []float64) {
	q := func(p float64) float64 { return draws[int(p*float64(len(draws)))] }
	v := SapVisit{
		Date: c.date, Group: c.group, ObservedL: c.visit.ObservedL, AtLeast: c.visit.AtLeast,
		P10: q(0.1), P50: q(0.5), P90: q(0.9),
		expectedL: q(0.5), rule: c.ruleDays, heat: c.degreeHours,
	}
	r.CRPSL += CRPS(draws, v.ObservedL)
	r.MeanPIT += PIT(draws, v.ObservedL, 0.5)
	if v.P10 <= v.ObservedL && v.ObservedL <= v.P90 {
		r.Coverage80++
	}
	r.Visits = append(r.Visits, v)
}

// finish turns sums into means and compares with simpler forecasts.
func (r *SapResult) finish() {
	n := len(r.Visits)
	r.N = n
	var observed, expected, rule, heat []float64
	for _, v := range r.Visits {
		observed, expected = append(observed, v.ObservedL), append(expected, v.expectedL)
		rule, heat = append(rule, v.rule), append(heat, v.heat)
	}
	climatology := 0.0
	for i, x := range observed {
		climatology += CRPS(slices.Concat(observed[:i], observed[i+1:]), x) / float64(n)
	}
	r.CRPSL /= float64(n)
	r.MeanPIT /= float64(n)
	r.Coverage80 /= float64(n)
	r.CRPSSkill = 1 - r.CRPSL/climatology
	r.Spearman, r.Pearson = Spearman(expected, observed), Pearson(expected, observed)
	r.RuleSpearman, r.HeatSpearman = orZero(Spearman(rule, observed)), orZero(Spearman(heat, observed))
	r.Spearman90 = Bootstrap(n, 3, 1000, 0.9, 1, func(cases []int) float64 {
		return Spearman(pick(expected, cases), pick(observed, cases))
	})
}

// orZero stands for a correlation with something that never varied.
func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// checkVisits refuses records that the weather can't speak to and dates that
// must be slips.
func checkVisits(visits []records.Visit, flow *seasonFlow, now time.Time) error {
	last := map[string]records.Visit{}
	for _, v := range visits {
		if !now.IsZero() && v.CollectedAt.After(now.Add(24*time.Hour)) {
			return fmt.Errorf("line %d: the visit of %s lies in the future; check its year", v.Line, v.CollectedAt.Format(time.DateOnly))
		}
		if v.CollectedAt.Before(flow.weather.Start()) || v.CollectedAt.After(flow.weather.End()) {
			return fmt.Errorf("line %d: the visit of %s lies outside the weather, %s to %s; give weather that covers it, or leave the row out",
				v.Line, v.CollectedAt.Format(time.DateOnly), flow.weather.Start().Format(time.DateOnly), flow.weather.End().Format(time.DateOnly))
		}
		before, seen := last[v.Group]
		switch {
		case seen && v.CollectedAt.Before(before.CollectedAt):
			return fmt.Errorf("line %d: the visit of %s comes after line %d, of %s; sort the file by date", v.Line, v.CollectedAt.Format(time.DateOnly), before.Line, before.CollectedAt.Format(time.DateOnly))
		case seen && v.CollectedAt.Equal(before.CollectedAt):
			return fmt.Errorf("line %d: a second visit of the same group at the moment of line %d; add the volumes up, or name the groups or the hours (collected_at)", v.Line, before.Line)
		}
		last[v.Group] = v
	}
	return nil
}

func groupsOf(visits []records.Visit) []string {
	var names []string
	for _, v := range visits {
		if !slices.Contains(names, v.Group) {
			names = append(names, v.Group)
		}
	}
	return names
}

// collection is one visit with what the weather says it should have brought.
type collection struct {
	visit                 volume.Visit
	date, group, why      string // why it can't be scored, "" if it can
	ruleDays, degreeHours float64
}

// collections walks through the records group by group, filling and emptying
// the pails; in order of time.
func (f *seasonFlow) collections(visits []records.Visit, groups []string, o *SapOptions) []collection {
	var all []collection
	var at []time.Time
	for g, name := range groups {
		var pail rounds.Pail
		from := -1
		var season time.Time
		days := dayCounter{}
		for _, v := range visits {
			if v.Group != name {
				continue
			}
			to := f.weather.Index(v.CollectedAt)
			if from < 0 || v.CollectedAt.Sub(season) > 200*24*time.Hour {
				// The first visit of a season: bored that day if nothing was
				// collected, else the day before.
				season, pail, days = v.CollectedAt, rounds.Pail{}, dayCounter{}
				if from = to; v.Collected() {
					from = max(to-24, 0)
				}
				f.bore(from)
			}
			gap := f.fill(&pail, &days, from, to)
			from = to
			remarks := v.Remarks()
			taps := v.Taps
			if taps == 0 {
				taps = o.Taps
			}
			c := collection{date: v.CollectedAt.In(o.Zone).Format(time.DateOnly), group: name, ruleDays: days.rule, degreeHours: days.heat}
			switch {
			case remarks.Emptied:
				pail, days = rounds.Pail{}, dayCounter{}
				c.why = "the pails were emptied without a figure"
			case remarks.NotChecked || !v.Collected():
				c.why = "not collected: left to the next visit"
			case taps == 0:
				c.why = fmt.Sprintf("line %d says no number of taps; add a column taps or give --taps", v.Line)
			case gap > weather.MaxFillHours:
				c.why = fmt.Sprintf("%d hours of the weather before it are missing", gap)
				pail, days = rounds.Pail{}, dayCounter{}
			default:
				c.visit = volume.Visit{
					Group: g, Months: v.CollectedAt.Sub(season).Hours() / 720, Taps: taps,
					Days: days.effective(), ObservedL: v.VolumeL,
					AtLeast: remarks.Full || o.ContainerL > 0 && v.VolumeL >= 0.95*o.ContainerL*float64(taps),
				}
				c.visit.ExpectedL = pail.Empty() * float64(taps)
				days = dayCounter{}
			}
			all, at = append(all, c), append(at, v.CollectedAt)
		}
	}
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return at[a].Compare(at[b]) })
	sorted := make([]collection, len(all))
	for i, k := range order {
		sorted[i] = all[k]
	}
	return sorted
}

// seasonFlow is the flow of a usual tap through all hours of the weather.
type seasonFlow struct {
	weather weather.Series
	gap     []bool // hours of which the temperature was missing
	wood    []trunk.Hour
	flow    []float64 // litres an hour
	zone    *time.Location
	sap     sap.Parameters
	iceless bool // pails do not freeze
}

func newSeasonFlow(w *weather.Series, o *SapOptions) (*seasonFlow, error) {
	f := &seasonFlow{weather: w.Slice(0, w.Hours()), zone: o.Zone, sap: sap.Usual, iceless: o.Without.PailIce}
	f.weather.FillGaps()
	temperature := f.weather.Col(weather.TemperatureC)
	f.gap = make([]bool, len(temperature))
	for i, t := range temperature {
		f.gap[i] = math.IsNaN(t)
	}
	if !f.weather.Bridge(weather.TemperatureC) {
		return nil, fmt.Errorf("the weather holds no temperature")
	}
	for i := range temperature {
		temperature[i] += o.WarmerK
	}
	f.weather.Complete(o.Place)
	o.Without.from(&f.weather)
	tree := trunk.NewTree(o.TreeDiameterM, trunk.Exposed(o.Canopy, math.NaN()), o.Place)
	if o.Without.PhaseChange {
		tree = trunk.NewTreeOf(o.Without.wood(o.TreeDiameterM), trunk.Exposed(o.Canopy, math.NaN()), o.Place)
	}
	state := tree.Rest(f.weather.At(weather.TemperatureC, 0))
	f.wood = make([]trunk.Hour, f.weather.Hours())
	tree.Run(&state, &f.weather, trunk.Suns(&f.weather, o.Place), f.wood)
	if o.Without.Wood {
		airAlone(&f.weather, f.wood)
	}
	f.flow = make([]float64, len(f.wood))
	return f, nil
}

// bore makes the flow anew from an hour on, from fresh tapholes.
func (f *seasonFlow) bore(from int) {
	var tap sap.State
	f.sap.Run(&tap, f.wood[:from], 0, f.flow[:from])
	tap.WarmHours = 0
	f.sap.Run(&tap, f.wood[from:], 0, f.flow[from:])
}

// fill lets the hours run into a pail and counts what simpler rules count. It
// returns how many hours were without temperature.
func (f *seasonFlow) fill(p *rounds.Pail, d *dayCounter, from, to int) (gap int) {
	for i := max(from, 0); i < min(to, len(f.flow)); i++ {
		if f.gap[i] {
			gap++
		}
		t := f.weather.At(weather.TemperatureC, i)
		if f.iceless {
			p.LiquidL += f.flow[i]
		} else {
			p.Hour(f.flow[i], t)
		}
		d.hour(f.weather.Time(i).In(f.zone), t, f.flow[i])
	}
	return gap
}

// covered are the visits that lie within the weather.
func (f *seasonFlow) covered(visits []records.Visit) (within []records.Visit, dropped int) {
	for _, v := range visits {
		if v.CollectedAt.Before(f.weather.Start()) || v.CollectedAt.After(f.weather.End()) {
			dropped++
			continue
		}
		within = append(within, v)
	}
	return within, dropped
}
