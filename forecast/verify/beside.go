package verify

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"thawline/forecast"
	"thawline/forecast/table"
)

// Forecaster is somebody who said on each evening what the next day would bring.
type Forecaster struct {
	Name     string
	Evenings []forecast.Evening // each with its next day alone; NaN where something was not said
}

// Compared are the scores of one forecaster over the days and rounds of which every one
// spoke.
type Compared struct {
	Name       string  `json:"name"`
	Days       int     `json:"days"`  // of which somebody saw whether sap ran
	Right      int     `json:"right"` // leaned the right way
	Brier      float64 `json:"brier"`
	BrierSkill float64 `json:"brier_skill"` // over the share of these days on which sap ran; NaN if that is none or all
	Rounds     int     `json:"rounds"`
	Within     int     `json:"within"`     // between the tenth and nine tenths
	MissL      float64 `json:"miss_l"`     // of the middle, the mean of the rounds
	QuantileL  float64 `json:"quantile_l"` // the mean quantile loss of the three, litres: the smaller the better
}

var forecastColumns = []string{"day", "chance_pct", "p10_l", "p50_l", "p90_l"}

// ReadForecasts reads what a forecaster said of days: day (local, 2026-03-17), and chance_pct
// of a run, or p10_l, p50_l and p90_l of all taps' sap on it, or both. Each row is what was
// said on the evening before. Errors call the file by name and tell everything that is wrong.
func ReadForecasts(r io.Reader, name string) ([]forecast.Evening, error) {
	t, err := table.NewReader(r, name, forecastColumns, table.Names{"date": "day", "jour": "day"})
	if err != nil {
		return nil, err
	}
	t.Require("day")
	if !t.Has("chance_pct") && (!t.Has("p10_l") || !t.Has("p50_l") || !t.Has("p90_l")) {
		t.Fail(1, "chance_pct", "neither chances nor litres", "give chance_pct, or p10_l, p50_l and p90_l")
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	var out []forecast.Evening
	for row := range t.Rows() {
		day, err := time.Parse(time.DateOnly, row.Text("day"))
		if err != nil {
			row.Fail("day", row.Text("day")+": not a day", "write it like 2026-03-17")
			continue
		}
		chance := row.Number("chance_pct")
		litres := forecast.Range{P10: row.Number("p10_l"), P50: row.Number("p50_l"), P90: row.Number("p90_l")}
		if chance < 0 || chance > 100 {
			row.Fail("chance_pct", row.Text("chance_pct")+": not a chance", "write 0 to 100")
		}
		if litres.P10 < 0 || litres.P10 > litres.P50 || litres.P50 > litres.P90 {
			row.Fail("p10_l", "quantiles that do not rise from nothing", "write p10_l, p50_l and p90_l in that order")
		}
		out = append(out, forecast.Evening{Date: day.AddDate(0, 0, -1).Format(time.DateOnly),
			Days: []forecast.Day{{Date: row.Text("day"), RunProbability: chance / 100, VolumeL: litres}}})
	}
	slices.SortStableFunc(out, func(a, b forecast.Evening) int {
		switch {
		case a.Date < b.Date:
			return -1
		case a.Date > b.Date:
			return 1
		}
		return 0
	})
	for i := 1; i < len(out); i++ {
		if out[i].Date == out[i-1].Date {
			t.Fail(1, "day", fmt.Sprintf("%s stands there twice", out[i].Days[0].Date), "keep one row a day")
		}
	}
	return out, t.Err()
}

// Compare scores forecasters side by side: chances by the days that somebody saw, litres by
// the rounds, both as Evenings does, and only by those of which all of them spoke.
func Compare(all []Forecaster, seen map[string]bool, visits []forecast.PastVisit, site *forecast.Site) []Compared {
	said := make([]map[string]float64, len(all))
	rounds := make([]map[string]SapVisit, len(all))
	key := func(v *SapVisit) string { return v.Group + " " + v.Date }
	for i := range all {
		said[i], rounds[i] = map[string]float64{}, map[string]SapVisit{}
		for _, e := range all[i].Evenings {
			if len(e.Days) > 0 && !math.IsNaN(e.Days[0].RunProbability) {
				said[i][e.Days[0].Date] = e.Days[0].RunProbability
			}
		}
		for _, v := range Told(all[i].Evenings, visits, site) {
			if !math.IsNaN(v.P10 + v.P50 + v.P90) {
				rounds[i][key(&v)] = v
			}
		}
	}
	var days []string
	for date := range seen {
		if !slices.ContainsFunc(said, func(of map[string]float64) bool { _, has := of[date]; return !has }) {
			days = append(days, date)
		}
	}
	slices.Sort(days)
	var keys []string
	for k := range rounds[0] {
		if !slices.ContainsFunc(rounds, func(of map[string]SapVisit) bool { _, has := of[k]; return !has }) {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	var out []Compared
	for i := range all {
		out = append(out, scoresOf(all[i].Name, days, said[i], seen, keys, rounds[i]))
	}
	return out
}

// scoresOf are the scores of one.
func scoresOf(name string, days []string, said map[string]float64, seen map[string]bool, keys []string,
	rounds map[string]SapVisit) Compared {
	c := Compared{Name: name, Days: len(days), Rounds: len(keys), Brier: math.NaN(), BrierSkill: math.NaN(), MissL: math.NaN(),
		QuantileL: math.NaN()}
	var chances, ran []float64
	share := 0.0
	for _, d := range days {
		x := 0.0
		if seen[d] {
			x = 1
		}
		if (said[d] >= 0.5) == seen[d] {
			c.Right++
		}
		chances, ran, share = append(chances, said[d]), append(ran, x), share+x/float64(len(days))
	}
	if len(days) > 0 {
		c.Brier = Brier(chances, ran)
		if share > 0 && share < 1 {
			c.BrierSkill = 1 - c.Brier/(share*(1-share))
		}
	}
	if len(keys) > 0 {
		c.MissL, c.QuantileL = 0, 0
	}
	n := float64(len(keys))
	for _, k := range keys {
		v := rounds[k]
		if v.P10 <= v.ObservedL && v.ObservedL <= v.P90 {
			c.Within++
		}
		c.MissL += math.Abs(v.P50-v.ObservedL) / n
		for _, q := range [][2]float64{{0.1, v.P10}, {0.5, v.P50}, {0.9, v.P90}} {
			c.QuantileL += quantileLoss(q[0], q[1], v.ObservedL) / 3 / n
		}
	}
	return c
}

// quantileLoss is the loss that is least in the mean where the value is the quantile
// (Gneiting and Raftery 2007).
func quantileLoss(level, value, came float64) float64 {
	if came < value {
		return (1 - level) * (value - came)
	}
	return level * (came - value)
}
