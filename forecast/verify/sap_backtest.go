package verify

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast/records"
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
	FlowSpearman float64    `json:"flow_spearman"` // of the flow worked out from weather alone, before visits scale it
	Pearson      float64    `json:"pearson"`
	CRPSL        float64    `json:"crps_l"`
	CRPSSkill    float64    `json:"crps_skill"`       // over the volumes of all other visits as a forecast
	HabitSkill   float64    `json:"habit_crps_skill"` // the same of a forecast that knows only how this keeper gathers
	Coverage80   float64    `json:"coverage80"`
	RuleSpearman float64    `json:"rule_spearman"`        // of the days since the last visit that pass the threshold rule
	HeatSpearman float64    `json:"degree_hour_spearman"` // of the degree hours above freezing since then
	MeanPIT      float64    `json:"mean_pit"`
	Visits       []SapVisit `json:"visits"`
	// By verdict of the evening, and by month.
	Verdicts []VerdictScore `json:"verdicts"`
	Months   []CoverageOf   `json:"months"`
	Notes    []string       `json:"notes"` // visits that were not scored, and why

	Offset *Offset `json:"offset,omitempty"` // as the visits taught it in the end

	// Of backtest fit only.
	LeftOut string     `json:"left_out,omitempty"`
	Flow    *Constants `json:"flow,omitempty"`
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
	RunChance float64 `json:"run_chance"` // that a tap gave as much as on a day that counts as a run

	expectedL, taps, flowL, rule, heat float64
}

// Offset is what visits taught that the bush is warmer by than its weather, K.
type Offset struct {
	MeanK float64 `json:"mean_k"`
	SDK   float64 `json:"sd_k"`
}

// MarshalJSON writes null for what has no value, NaN, where what was observed never varied.
func (r SapResult) MarshalJSON() ([]byte, error) {
	known := func(x float64) *float64 {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return &x
	}
	type plain SapResult
	return json.Marshal(struct {
		plain
		Spearman     *float64 `json:"spearman"`
		FlowSpearman *float64 `json:"flow_spearman"`
		Pearson      *float64 `json:"pearson"`
		CRPSSkill    *float64 `json:"crps_skill"`
		HabitSkill   *float64 `json:"habit_crps_skill"`
	}{plain(r), known(r.Spearman), known(r.FlowSpearman), known(r.Pearson), known(r.CRPSSkill), known(r.HabitSkill)})
}

// SapOptions says what to backtest.
type SapOptions struct {
	Place         weather.Place
	Zone          *time.Location
	Method        volume.Method // volume.Pail if empty
	Canopy        trunk.Canopy
	Exposure      *trunk.Exposure // the bush's own, nil for that of the canopy
	TreeDiameterM float64
	Taps          int       // where the records do not say
	ContainerL    float64   // at each tap, 0 if not known
	WarmerK       float64   // what the bush is warmer by than where the weather was measured
	Flow          Constants // of the flow, where they were fitted elsewhere; the zero value takes the usual ones
	Without       Without   // parts of the model left out, for ablation
	Now           time.Time // visits after it are slips; the zero time lets all pass
	Progress      func(done, of int)

	draws int // for one visit, 0 for as many as usual
}

// sapDraws is how many volumes stand for the forecast of one visit.
const sapDraws = 200

func (o *SapOptions) drawn() int {
	if o.draws > 0 {
		return o.draws
	}
	return sapDraws
}

// BacktestSap foretells each volume of the records from the weather and the
// visits before it. Visits sum the hours since the one before; a blank or "not
// checked" leaves the pails to the next; sap poured away is lost and not
// scored; a full container counts as "at least"; ice stays in the pails until
// the air has melted it. train holds earlier seasons of the same bush to learn from,
// whose weather is taken warmer by as much; a later one is an error.
func BacktestSap(ctx context.Context, w *weather.Series, visits []records.Visit, train []Season, o SapOptions) (SapResult, error) {
	r := SapResult{Notes: []string{}, Visits: []SapVisit{}}
	if o.Taps == 0 {
		o.Taps = usualTaps(&r, visits, train)
	}
	if err := checkVisits(visits, w, o.Now); err != nil {
		return r, err
	}
	groups := groupsOf(visits)
	for _, season := range train {
		groups = append(groups, groupsOf(season.Visits)...)
	}
	slices.Sort(groups)
	groups = slices.Compact(groups)
	know := o.unknown(groups)
	for _, season := range train {
		if err := earlier(season.Visits, visits[0].CollectedAt); err != nil {
			return r, err
		}
		var err error
		if know, err = r.teach(season, know, groups, &o); err != nil {
			return r, err
		}
	}
	season, err := newBushSeason(w, visits, groups, know, &o)
	if err != nil {
		return r, err
	}
	return r, season.run(ctx, o.flow(), &r)
}

// flow is the flow of a usual tap.
func (o *SapOptions) flow() *sap.Parameters {
	p := sap.Usual
	if o.Flow != (Constants{}) {
		p = o.Flow.parameters()
	}
	return &p
}

// unknown is what is held of groups before any record.
func (o *SapOptions) unknown(groups []string) volume.Knowledge {
	beliefs := make([]volume.Belief, len(groups))
	for i := range beliefs {
		beliefs[i] = volume.Prior(o.Method).InStems(o.TreeDiameterM)
	}
	return volume.Unknown(beliefs...)
}

// usualTaps stands in where a record says no number of taps: the largest that
// any does, else fifty, which is noted.
func usualTaps(r *SapResult, visits []records.Visit, train []Season) int {
	taps, missing := 0, false
	for _, v := range visits {
		taps = max(taps, v.Taps)
		missing = missing || v.Taps == 0
	}
	for _, s := range train {
		for _, v := range s.Visits {
			taps = max(taps, v.Taps)
		}
	}
	if taps == 0 {
		taps = 50
	}
	if missing {
		r.Notes = append(r.Notes, fmt.Sprintf("records that say no number of taps are taken to be of %d; --taps says otherwise", taps))
	}
	return taps
}

// Season is the records of earlier years and the weather of theirs; nil where it is
// not known, so that only their sums teach.
type Season struct {
	Weather *weather.Series
	Visits  []records.Visit
}

// earlier refuses training visits that are not earlier than the first one to foretell:
// they could not have been known.
func earlier(visits []records.Visit, first time.Time) error {
	for _, v := range visits {
		if !v.CollectedAt.Before(first) {
			return fmt.Errorf("line %d of the training records: the visit of %s is not earlier than the first one to foretell, of %s; train on seasons before it", v.Line, v.CollectedAt.Format(time.DateOnly), first.Format(time.DateOnly))
		}
	}
	return nil
}

// teach is what is held after a season of training.
func (r *SapResult) teach(s Season, know volume.Knowledge, groups []string, o *SapOptions) (volume.Knowledge, error) {
	if s.Weather == nil {
		know.Groups = sumsTeach(s.Visits, know.Groups, groups, o.Taps)
		return know, nil
	}
	within, dropped := covered(s.Weather, s.Visits)
	if dropped > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%d training visits lie outside the weather and teach nothing", dropped))
	}
	if len(within) == 0 {
		return know, nil
	}
	season, err := newBushSeason(s.Weather, within, groups, know, o)
	if err != nil {
		return know, fmt.Errorf("training weather: %w", err)
	}
	after, err := season.learnt()
	if err != nil || after.Visits == 0 {
		return know, err
	}
	return after.NextSeason(), nil
}

// sumsTeach holds the sum of a season for each group against a usual season.
func sumsTeach(visits []records.Visit, priors []volume.Belief, groups []string, taps int) []volume.Belief {
	out := slices.Clone(priors)
	for g := range out {
		litresTap := 0.0
		for _, v := range visits {
			if v.Group == groups[g] && v.Collected() {
				n := v.Taps
				if n == 0 {
					n = taps
				}
				litresTap += v.VolumeL / float64(n)
			}
		}
		if litresTap > 0 {
			out[g] = out[g].AfterSeason(litresTap)
		}
	}
	return out
}

// score takes in a visit, the flow that was worked out for it from weather alone, and what
// was foretold.
func (r *SapResult) score(c *collection, flowL float64, draws []float64) {
	q := func(p float64) float64 { return draws[int(p*float64(len(draws)))] }
	v := SapVisit{
		Date: c.date, Group: c.group, ObservedL: c.Visit.ObservedL, AtLeast: c.Visit.AtLeast,
		P10: q(0.1), P50: q(0.5), P90: q(0.9),
		expectedL: q(0.5), taps: float64(c.Visit.Taps), flowL: flowL / float64(c.Visit.Taps), rule: c.ruleDays, heat: c.degreeHours,
	}
	for _, litres := range draws {
		if litres >= volume.RunDayL*v.taps {
			v.RunChance += 1 / float64(len(draws))
		}
	}
	r.CRPSL += CRPS(draws, v.ObservedL)
	r.MeanPIT += PIT(draws, v.ObservedL, 0.5)
	if v.within() {
		r.Coverage80++
	}
	r.Visits = append(r.Visits, v)
}

// within reports whether what was carried away lay in the range that four in five should
// be in.
func (v *SapVisit) within() bool { return v.P10 <= v.ObservedL && v.ObservedL <= v.P90 }

// finish turns sums into means and compares with simpler forecasts, one of which is the
// keeper's habit and its CRPS.
func (r *SapResult) finish(habit float64) {
	n := len(r.Visits)
	r.N = n
	var observed, expected, flow, perTap, rule, heat []float64
	for _, v := range r.Visits {
		observed, expected = append(observed, v.ObservedL), append(expected, v.expectedL)
		flow, perTap = append(flow, v.flowL), append(perTap, v.ObservedL/v.taps)
		rule, heat = append(rule, v.rule), append(heat, v.heat)
	}
	climatology := 0.0
	for i, x := range observed {
		climatology += CRPS(slices.Concat(observed[:i], observed[i+1:]), x) / float64(n)
	}
	r.CRPSL /= float64(n)
	r.MeanPIT /= float64(n)
	r.Coverage80 /= float64(n)
	r.CRPSSkill, r.HabitSkill = math.NaN(), math.NaN()
	if climatology > 0 {
		r.CRPSSkill, r.HabitSkill = 1-r.CRPSL/climatology, 1-habit/climatology
	}
	r.Verdicts, r.Months = byVerdict(r.Visits), byMonth(r.Visits)
	r.Spearman, r.Pearson = Spearman(expected, observed), Pearson(expected, observed)
	r.FlowSpearman = Spearman(flow, perTap)
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
