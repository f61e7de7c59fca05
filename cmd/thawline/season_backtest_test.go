package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/testdata/beside"
)

// thawsByDay is a file of lows and highs from November to June.
func thawsByDay(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("date,tmin_c,tmax_c\n")
	for d := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC); d.Month() != time.July; d = d.AddDate(0, 0, 1) {
		low := -10 + 9*(1-math.Cos(2*math.Pi*(d.Sub(time.Date(2026, 1, 20, 0, 0, 0, 0, time.UTC)).Hours()/24)/365)) +
			2*math.Sin(float64(d.YearDay()))
		fmt.Fprintf(&b, "%s,%.1f,%.1f\n", d.Format(time.DateOnly), low, low+10)
	}
	return written(t, "daily.csv", b.String())
}

// The season of a daily file, whose coming rows are the forecast, has both ends as three
// dates in order, none of which lies in the past.
func TestSeasonOfADailyFile(t *testing.T) {
	out, err := run(t, nil, "season", "--weather", thawsByDay(t), "--now", "2026-03-20T18:00:00-04:00", "--at", "44.2,-72.5", "--taps",
		"50", "--container", "7.5L", "--json")
	if err != nil {
		t.Fatal(err)
	}
	var document struct {
		Season struct {
			End     map[string]string `json:"end"`
			LastRun map[string]string `json:"last_run"`
			Taste   *struct {
				OffBy []struct {
					Date   string  `json:"date"`
					Chance float64 `json:"chance"`
				} `json:"off_by"`
				Source string `json:"source"`
			} `json:"taste"`
			Signs []any `json:"signs"`
		} `json:"season"`
	}
	if err := json.Unmarshal([]byte(out), &document); err != nil {
		t.Fatalf("%v: %.300s", err, out)
	}
	s := &document.Season
	for name, end := range map[string]map[string]string{"end": s.End, "last_run": s.LastRun} {
		if len(end) != 3 || end["p10"] < "2026-03-20" || end["p10"] > end["p50"] || end["p50"] > end["p90"] || end["p90"] > "2026-06-30" {
			t.Errorf("season.%s: %v", name, end)
		}
	}
	if s.Signs == nil || s.Taste == nil || s.Taste.Source != "common practice" || len(s.Taste.OffBy) != 4 ||
		s.Taste.OffBy[0].Date != "2026-03-20" ||
		!slices.IsSortedFunc(s.Taste.OffBy, func(a, b struct {
			Date   string  `json:"date"`
			Chance float64 `json:"chance"`
		}) int {
			return int(math.Round(100 * (a.Chance - b.Chance)))
		}) {
		t.Errorf("taste %+v, signs %v", s.Taste, s.Signs)
	}
}

// The backtest's document has the form that others read, and intervals beside its ratios.
func TestBacktestSeasonDocument(t *testing.T) {
	out, err := run(t, nil, "backtest", "season", "--weather", beside.File(t, "data/madison-daily-1990-2020.csv"), "--ends",
		beside.File(t, "data/season-ends.csv"), "--place", "east Wisconsin", "--known-to", "03-15", "--json")
	if err != nil {
		t.Fatal(err)
	}
	var r struct {
		N          int              `json:"n"`
		RMSE       *float64         `json:"rmse_days"`
		Bias       *float64         `json:"bias_days"`
		CRPS       *float64         `json:"crps_days"`
		Coverage80 *float64         `json:"coverage80"`
		Years      []map[string]any `json:"years"`
		Asked      []map[string]any `json:"asked"`
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if r.N != 6 || r.RMSE == nil || r.Bias == nil || r.CRPS == nil || r.Coverage80 == nil || len(r.Years) != 6 || len(r.Asked) != 1 {
		t.Fatalf("%.300s", out)
	}
	for _, key := range []string{"year", "end", "censored", "known_to", "p10", "p50", "p90"} {
		if _, ok := r.Years[0][key]; !ok {
			t.Errorf("a year without %s: %v", key, r.Years[0])
		}
	}
	for _, key := range []string{"of_baseline_interval90", "of_mean_date_interval90"} {
		if i, _ := r.Asked[0][key].(map[string]any); len(i) != 2 {
			t.Errorf("%s: %v", key, r.Asked[0][key])
		}
	}
}
