package verify

import "fmt"

// ThawResult is how well the chance of frost and thaw was foretold.
type ThawResult struct {
	N              int     `json:"n"`
	BaseRate       float64 `json:"base_rate"`
	BrierSkill     float64 `json:"brier_skill"`      // over the climatology of the test file by ISO week, all stations together
	RuleBrierSkill float64 `json:"rule_brier_skill"` // of the bare thresholds on the forecast
	ROCArea        float64 `json:"roc_area"`
	InSample       bool    `json:"in_sample"` // the model had seen what it is scored on
	HeldOut        string  `json:"held_out"`  // "station" where stations were held out in turn
	Reliability    []Bin   `json:"reliability"`
	Leads          []Lead  `json:"leads"`
}

// Lead is the fitted error of one forecast, °F.
type Lead struct {
	Of          string  `json:"of"` // "low" or "high"
	LeadHours   int     `json:"lead_hours"`
	SDF         float64 `json:"sd_f"`
	Correlation float64 `json:"correlation"` // between the low's error and the next high's
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
	week := func(p *Pair) isoWeek {
		y, w := p.Night.ISOWeek()
		return isoWeek{y, w}
	}
	for _, p := range cases {
		o := as01(p.LowSeen <= frostF && p.HighSeen >= thawF)
		happened = append(happened, o)
		chance = append(chance, models[p.Station].Probability(p))
		rule = append(rule, as01(p.Low12 <= frostF && p.High36 >= thawF))
		weekSum[week(p)] += o
		weekCount[week(p)]++
	}
	climatology := make([]float64, len(cases))
	base := 0.0
	for i, p := range cases {
		climatology[i] = weekSum[week(p)] / weekCount[week(p)]
		base += happened[i] / float64(len(cases))
	}
	r := ThawResult{
		N: len(cases), BaseRate: base,
		BrierSkill: BrierSkill(chance, climatology, happened), RuleBrierSkill: BrierSkill(rule, climatology, happened),
		ROCArea: ROCArea(chance, happened), Reliability: Reliability(chance, happened),
		Leads: []Lead{{"low", 12, all.lowSDF, all.correlation}, {"high", 36, all.highSDF, all.correlation}},
	}
	if byStation {
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
