package verify

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// ThawResult is how well the chance of frost and thaw was foretold.
type ThawResult struct {
	N      int     `json:"n"`
	AsSent bool    `json:"as_sent,omitempty"` // counted among the members that texts are made from
	OffK   float64 `json:"off_k,omitempty"`   // how much warmer the stations are taken to be than their grid
	// Without is the skill on the same nights where no thermometer hangs; nil where none does.
	Without        *float64       `json:"brier_skill_without_thermometer,omitempty"`
	BaseRate       float64        `json:"base_rate"`
	BrierSkill     float64        `json:"brier_skill"`      // over the climatology of the test file by ISO week, all stations together
	RuleBrierSkill float64        `json:"rule_brier_skill"` // of the bare thresholds on the forecast
	ROCArea        float64        `json:"roc_area"`
	InSample       bool           `json:"in_sample"` // the model had seen what it is scored on
	Overlap        int            `json:"overlap"`   // nights it had seen
	HeldOut        string         `json:"held_out"`  // "station" where stations were held out in turn
	Reliability    []Bin          `json:"reliability"`
	Verdicts       []VerdictScore `json:"verdicts"` // by the verdict that the chance alone would have in the evening
	Leads          []Lead         `json:"leads"`
	// Told is the skill of forecasts looked at on the evening itself and earlier, on
	// nights that all of them know; nil for files without evenings.
	Told   []LeadSkill `json:"told_ahead,omitempty"`
	Fitted Fitted      `json:"fitted"`
	// Stations whose forecasts err in their own way, beyond chance.
	Stations map[string]StationBias `json:"stations"`
	// Parts of the Brier score, of forecasts in ten classes.
	Parts BrierParts `json:"brier_parts"`
	// SkillInterval90 resamples weeks, in which nights are alike.
	SkillInterval90 Interval `json:"brier_skill_interval90"`
}

// Fitted is the spread around the model's corrections, °F, and how the low's
// error goes with the next high's.
type Fitted struct {
	LowSDF      float64 `json:"low_sd_f"`
	HighSDF     float64 `json:"high_sd_f"`
	Correlation float64 `json:"correlation"`
}

// Lead is how the forecasts of the training file err at one lead, °F.
type Lead struct {
	Of        string  `json:"of"` // "low" or "next high"
	LeadHours int     `json:"lead_hours"`
	BiasF     float64 `json:"bias_f"` // observed less forecast
	SDF       float64 `json:"sd_f"`
	N         int     `json:"n"`
}

// Leads measures the errors of every column of forecasts, February to April.
func Leads(pairs []Pair) []Lead {
	columns := []struct {
		of   string
		lead int
		get  func(p *Pair) (forecast, seen float64)
	}{
		{"low", 0, func(p *Pair) (float64, float64) { return p.LowEvening, p.LowSeen }},
		{"low", 12, func(p *Pair) (float64, float64) { return p.Low12, p.LowSeen }},
		{"low", 24, func(p *Pair) (float64, float64) { return p.Low24, p.LowSeen }},
		{"low", 36, func(p *Pair) (float64, float64) { return p.Low36, p.LowSeen }},
		{"next high", 24, func(p *Pair) (float64, float64) { return p.High24, p.HighSeen }},
		{"next high", 36, func(p *Pair) (float64, float64) { return p.High36, p.HighSeen }},
		{"next high", 48, func(p *Pair) (float64, float64) { return p.High48, p.HighSeen }},
	}
	var out []Lead
	for _, c := range columns {
		var errs []float64
		for i := range pairs {
			if !inSapSeason(&pairs[i]) {
				continue
			}
			if forecast, seen := c.get(&pairs[i]); !math.IsNaN(forecast) && !math.IsNaN(seen) {
				errs = append(errs, seen-forecast)
			}
		}
		if len(errs) > 1 {
			mean, sd := stat.MeanStdDev(errs, nil)
			out = append(out, Lead{c.of, c.lead, mean, sd, len(errs)})
		}
	}
	return out
}

// ThawOptions are how a backtest is made.
type ThawOptions struct {
	ByStation bool // each station of test is foretold by a model that never saw that station
	AsSent    bool // the chance of an evening is counted among the members that its text is made from
	Bush      Bush // where the stations of test are taken to lie
}

// BacktestThaw fits the model on train and scores it on test. It uses all that was known
// on the evening of a night, or on its morning where a file has no forecast of the
// evening.
func BacktestThaw(train, test []Pair, o ThawOptions) (ThawResult, error) {
	newest := newestOf(train, test)
	if o.AsSent && newest != 0 {
		return ThawResult{}, fmt.Errorf("neither file may lack %s: texts are sent in the evening", eveningColumn)
	}
	cases := thawCases(test, newest)
	if len(cases) == 0 {
		return ThawResult{}, fmt.Errorf(
			"no complete night of February to April to test on; check night_of and the columns of the 12 h low and 36 h high, or of the evening's low and the 24 h high")
	}
	all, err := FitThaw(train, newest)
	if err != nil {
		return ThawResult{}, err
	}
	models, err := thawModels(train, cases, newest, o.ByStation)
	if err != nil {
		return ThawResult{}, err
	}
	cases, shifts := o.Bush.learn(cases, models)
	if len(cases) == 0 {
		return ThawResult{}, fmt.Errorf("no night after the first %d of a thermometer", ownDays)
	}
	c, err := foretell(models, cases, shifts, &o)
	if err != nil {
		return ThawResult{}, err
	}
	base := 0.0
	for _, o := range c.happened {
		base += o / float64(len(cases))
	}
	r := ThawResult{
		N: len(cases), AsSent: o.AsSent, OffK: o.Bush.OffK, BaseRate: base,
		BrierSkill: BrierSkill(c.chance, c.climatology, c.happened), RuleBrierSkill: BrierSkill(c.rule, c.climatology, c.happened),
		ROCArea: ROCArea(c.chance, c.happened), Reliability: Reliability(c.chance, c.happened),
		Verdicts: verdictScores(c.chance, c.happened),
		Leads:    Leads(train), Fitted: Fitted{all.lowSDF, all.highSDF, all.correlation}, Stations: all.stationsUsed(),
	}
	if newest == 0 {
		if r.Told, err = leadSkills(train, cases, &o); err != nil {
			return ThawResult{}, err
		}
	}
	tenths := make([]float64, len(c.chance))
	for i, p := range c.chance {
		tenths[i] = math.Round(10*p) / 10
	}
	r.Parts = DecomposeBrier(tenths, c.happened)
	const week = 7 // cases are sorted by night, and a night has one of each station
	r.SkillInterval90 = Bootstrap(len(cases), week*len(stationsOf(cases)), 500, 0.9, 1, func(k []int) float64 {
		return BrierSkill(pick(c.chance, k), pick(c.climatology, k), pick(c.happened, k))
	})
	if o.Bush.Thermometer {
		plain, err := foretell(models, cases, make([][2]float64, len(cases)), &o)
		if err != nil {
			return ThawResult{}, err
		}
		without := BrierSkill(plain.chance, plain.climatology, plain.happened)
		r.Without = &without
	}
	if !o.ByStation {
		r.Overlap = Overlap(train, test)
		r.InSample = r.Overlap > 0
	} else {
		r.HeldOut = "station"
	}
	return r, nil
}

// thawCases are the nights to score, by date.
func thawCases(test []Pair, when When) []*Pair {
	var cases []*Pair
	for i := range test {
		if p := &test[i]; p.observed && when.knows(p) && inSapSeason(p) {
			cases = append(cases, p)
		}
	}
	slices.SortStableFunc(cases, func(a, b *Pair) int { return a.Night.Compare(b.Night) })
	return cases
}

func stationsOf(cases []*Pair) map[string]bool {
	stations := map[string]bool{}
	for _, p := range cases {
		stations[p.Station] = true
	}
	return stations
}

// foretold is what was said of nights, and what came.
type foretold struct{ chance, rule, climatology, happened []float64 }

// thawModels are the models of the cases' stations.
func thawModels(train []Pair, cases []*Pair, when When, byStation bool) (map[string]*ThawModel, error) {
	models := map[string]*ThawModel{}
	for station := range stationsOf(cases) {
		learn := train
		if byStation {
			learn = without(train, station)
		} else if len(models) > 0 {
			for _, same := range models {
				models[station] = same
			}
			continue
		}
		m, err := FitThaw(learn, when)
		if err != nil && byStation {
			err = fmt.Errorf("without %s: %w", station, err)
		}
		if err != nil {
			return nil, err
		}
		models[station] = &m
	}
	return models, nil
}

func foretell(models map[string]*ThawModel, cases []*Pair, shifts [][2]float64, o *ThawOptions) (foretold, error) {
	var f foretold
	for i, p := range cases {
		m := models[p.Station]
		k := m.when.of(p)
		chance := m.probability(p, shifts[i])
		if o.AsSent {
			var err error
			if chance, err = m.asSent(p, shifts[i], uint64(i)); err != nil {
				return foretold{}, err
			}
		}
		f.chance = append(f.chance, chance)
		f.rule = append(f.rule, as01(ruled(&k)))
	}
	f.climatology, f.happened = climatologyOf(cases, &o.Bush)
	return f, nil
}

// climatologyOf is how often the event came in each case's week, all stations
// together, and whether it came.
func climatologyOf(cases []*Pair, bush *Bush) (climatology, happened []float64) {
	sum, count := map[isoWeek]float64{}, map[isoWeek]float64{}
	weekOf := func(p *Pair) isoWeek {
		y, w := p.Night.ISOWeek()
		return isoWeek{y, w}
	}
	for _, p := range cases {
		low, high := bush.seen(p)
		o := as01(low <= frostF && high >= thawF)
		happened = append(happened, o)
		sum[weekOf(p)] += o
		count[weekOf(p)]++
	}
	for _, p := range cases {
		climatology = append(climatology, sum[weekOf(p)]/count[weekOf(p)])
	}
	return climatology, happened
}

func without(pairs []Pair, station string) []Pair {
	var others []Pair
	for i := range pairs {
		if pairs[i].Station != station {
			others = append(others, pairs[i])
		}
	}
	return others
}

// LeadSkill is the skill of forecasts looked at so many hours before the evening.
type LeadSkill struct {
	HoursEarlier   int     `json:"hours_earlier"`
	N              int     `json:"n"`
	BrierSkill     float64 `json:"brier_skill"`
	RuleBrierSkill float64 `json:"rule_brier_skill"`
	// ClimatologyBrier is the Brier score of the climatology, over which both are.
	ClimatologyBrier float64 `json:"climatology_brier"`
}

// leadSkills compares the times on the nights that all of them know.
func leadSkills(train []Pair, cases []*Pair, o *ThawOptions) ([]LeadSkill, error) {
	var common []*Pair
	for _, p := range cases {
		if !slices.ContainsFunc(Whens, func(w When) bool { return !w.knows(p) }) {
			common = append(common, p)
		}
	}
	var out []LeadSkill
	for _, w := range Whens {
		if len(common) == 0 {
			break
		}
		models, err := thawModels(train, common, w, o.ByStation)
		if err != nil {
			return nil, fmt.Errorf("%d h earlier: %w", w, err)
		}
		same := ThawOptions{ByStation: o.ByStation, Bush: Bush{OffK: o.Bush.OffK}}
		f, err := foretell(models, common, make([][2]float64, len(common)), &same)
		if err != nil {
			return nil, fmt.Errorf("%d h earlier: %w", w, err)
		}
		out = append(out, LeadSkill{int(w), len(common), BrierSkill(f.chance, f.climatology, f.happened),
			BrierSkill(f.rule, f.climatology, f.happened), Brier(f.climatology, f.happened)})
	}
	return out, nil
}

// isoWeek is a week of ISO 8601.
type isoWeek struct{ year, week int }

func as01(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
