package verify

import (
	"time"

	"thawline/forecast/sap"
	"thawline/forecast/weather"
)

// Sensitivity is what one parameter of the flow changes in a season when it is
// moved to either end of its range.
type Sensitivity struct {
	Parameter string     `json:"parameter"`
	Unit      string     `json:"unit"`
	Source    string     `json:"source"`
	Value     float64    `json:"value"`
	Low       float64    `json:"low"`
	High      float64    `json:"high"`
	VolumePct [2]float64 `json:"volume_change_pct"` // of the season, at Low and at High
	DayRank   [2]float64 `json:"day_rank"`          // rank correlation of days with those of the usual value
}

// vacuumKPa is what the vacuum's parameters are tried under: 20 inches of
// mercury.
const vacuumKPa = 67.7

// Sensitivities runs a season of weather through every parameter's range. The
// season is all of the weather, from fresh tapholes on 15 February or the
// weather's first hour.
func Sensitivities(w *weather.Series, o SapOptions) ([]Sensitivity, error) {
	f, err := newSeasonFlow(w, &o)
	if err != nil {
		return nil, err
	}
	start := time.Date(f.weather.Start().In(o.Zone).Year(), 2, 15, 0, 0, 0, 0, o.Zone)
	from := max(f.weather.Index(start), 0)
	if from >= f.weather.Hours() {
		from = 0
	}
	usual := sap.Usual
	var out []Sensitivity
	for _, p := range sap.Table {
		vacuum := 0.0
		if p.Name == "vacuum pull" || p.Name == "weeping time" {
			vacuum = vacuumKPa
		}
		before := f.days(from, usual, vacuum)
		s := Sensitivity{Parameter: p.Name, Unit: p.Unit, Source: p.Source, Value: p.Value(&usual), Low: p.Low, High: p.High}
		for k, end := range []float64{p.Low, p.High} {
			after := f.days(from, p.With(usual, end), vacuum)
			s.VolumePct[k] = 100 * (total(after)/total(before) - 1)
			s.DayRank[k] = Spearman(before, after)
		}
		out = append(out, s)
	}
	return out, nil
}

// days is the flow of each local day from an hour on, litres a tap.
func (f *seasonFlow) days(from int, p sap.Parameters, vacuum float64) []float64 {
	flow := make([]float64, len(f.wood))
	var tap sap.State
	p.Run(&tap, f.wood[:from], vacuum, flow[:from])
	tap.WarmHours = 0
	p.Run(&tap, f.wood[from:], vacuum, flow[from:])
	var out []float64
	last := ""
	for i := from; i < len(flow); i++ {
		if day := f.weather.Time(i).In(f.zone).Format(time.DateOnly); day != last {
			out, last = append(out, 0), day
		}
		out[len(out)-1] += flow[i]
	}
	return out
}

func total(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum
}
