package verify

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// ThawResult is how well the chance of frost and thaw was foretold.
type ThawResult struct {
	N              int     `json:"n"`
	BaseRate       float64 `json:"base_rate"`
	BrierSkill     float64 `json:"brier_skill"`      // over the climatology of the test file by ISO week, all stations together
	RuleBrierSkill float64 `json:"rule_brier_skill"` // of the bare thresholds on the forecast
	ROCArea        float64 `json:"roc_area"`
	InSample       bool    `json:"in_sample"` // the model had seen what it is scored on
	Overlap        int     `json:"overlap"`   // nights it had seen
	HeldOut        string  `json:"held_out"`  // "station" where stations were held out in turn
	Reliability    []Bin   `json:"reliability"`
	Leads          []Lead  `json:"leads"`
	Fitted         Fitted  `json:"fitted"`
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

// BacktestThaw fits the model on train and scores it on test. With byStation,
// each station of test is foretold by a model that never saw that station.
func BacktestThaw(train, test []Pair, byStation bool) (ThawResult, error) {
	var cases []*Pair
	stations := map[string]bool{}
	for i := range test {
		if p := &test[i]; p.observed && p.forecasted && inSapSeason(p) {
			cases = append(cases, p)
			stations[p.Station] = true
		}
	}
	slices.SortStableFunc(cases, func(a, b *Pair) int { return a.Night.Compare(b.Night) })
	if len(cases) == 0 {
		return ThawResult{}, fmt.Errorf("no complete night of February to April to test on; check night_of and the columns of the 12 h low and 36 h high")
	}
	all, err := FitThaw(train)
	if err != nil {
		return ThawResult{}, err
	}
	models := map[string]*ThawModel{}
	for station := range stations {
		models[station] = &all
		if byStation {
			var others []Pair
			for i := range train {
				if train[i].Station != station {
					others = append(others, train[i])
				}
			}
			m, err := FitThaw(others)
			if err != nil {
				return ThawResult{}, fmt.Errorf("without %s: %w", station, err)
			}
			models[station] = &m
		}
	}

	var happened, chance, rule []float64
	weekSum, weekCount := map[isoWeek]float64{}, map[isoWeek]float64{}
	weekOf := func(p *Pair) isoWeek {
		y, w := p.Night.ISOWeek()
		return isoWeek{y, w}
	}
	for _, p := range cases {
		o := as01(p.LowSeen <= frostF && p.HighSeen >= thawF)
		happened = append(happened, o)
		chance = append(chance, models[p.Station].Probability(p))
		rule = append(rule, as01(p.Low12 <= frostF && p.High36 >= thawF))
		weekSum[weekOf(p)] += o
		weekCount[weekOf(p)]++
	}
	climatology := make([]float64, len(cases))
	base := 0.0
	for i, p := range cases {
		climatology[i] = weekSum[weekOf(p)] / weekCount[weekOf(p)]
		base += happened[i] / float64(len(cases))
	}
	r := ThawResult{
		N: len(cases), BaseRate: base,
		BrierSkill: BrierSkill(chance, climatology, happened), RuleBrierSkill: BrierSkill(rule, climatology, happened),
		ROCArea: ROCArea(chance, happened), Reliability: Reliability(chance, happened),
		Leads: Leads(train), Fitted: Fitted{all.lowSDF, all.highSDF, all.correlation}, Stations: all.stationsUsed(),
	}
	tenths := make([]float64, len(chance))
	for i, p := range chance {
		tenths[i] = math.Round(10*p) / 10
	}
	r.Parts = DecomposeBrier(tenths, happened)
	const week = 7 // cases are sorted by night, and a night has one of each station
	r.SkillInterval90 = Bootstrap(len(cases), week*len(stations), 500, 0.9, 1, func(k []int) float64 {
		return BrierSkill(pick(chance, k), pick(climatology, k), pick(happened, k))
	})
	if !byStation {
		r.Overlap = Overlap(train, test)
		r.InSample = r.Overlap > 0
	} else {
		r.HeldOut = "station"
	}
	return r, nil
}

// isoWeek is a week of ISO 8601.
type isoWeek struct{ year, week int }

func as01(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
