package verify

import (
	"math"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
)

// Two forecasters are scored by the days and rounds of which both spoke: who says the same
// has the same scores, who is surer and right has better ones.
func TestCompare(t *testing.T) {
	read := func(text string) []forecast.Evening {
		list, err := ReadForecasts(strings.NewReader(text), "theirs.csv")
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	site := &forecast.Site{Zone: time.UTC, Groups: []forecast.Group{{ID: "a", Taps: 10}}}
	visit := func(day int, litres float64) forecast.PastVisit {
		return forecast.PastVisit{At: time.Date(2026, 3, day, 17, 0, 0, 0, time.UTC), Group: "a", VolumeL: litres}
	}
	visits := []forecast.PastVisit{visit(10, 20), visit(11, 20), visit(12, 30), visit(13, 5)}
	seen := map[string]bool{"2026-03-11": true, "2026-03-12": true, "2026-03-13": false, "2026-03-20": true}
	ours := read("day,chance_pct,p10_l,p50_l,p90_l\n2026-03-11,70,10,18,30\n2026-03-12,60,10,20,40\n2026-03-13,40,1,4,9\n")
	theirs := read("date;chance_pct;p10_l;p50_l;p90_l\n2026-03-12;95;25;29;33\n2026-03-13;5;2;5;8\n2026-03-11;;;;\n")
	got := Compare([]Forecaster{{"ours", ours}, {"same", ours}, {"theirs", theirs}}, seen, visits, site)
	if len(got) != 3 || got[0].Days != 2 || got[2].Rounds != 2 {
		t.Fatalf("%+v", got)
	}
	if a, b := got[0], got[1]; a.Brier != b.Brier || a.QuantileL != b.QuantileL || a.Right != 2 || a.Within != 2 {
		t.Errorf("%+v %+v", a, b)
	}
	if a, b := got[0], got[2]; b.Brier >= a.Brier || b.MissL >= a.MissL || b.QuantileL >= a.QuantileL ||
		math.Abs(b.Brier-0.0025) > 1e-12 || math.Abs(b.MissL-0.5) > 1e-12 {
		t.Errorf("%+v %+v", a, b)
	}
	for text, want := range map[string]string{
		"day\n2026-03-11\n":                                      "neither chances nor litres",
		"day,chance_pct\n2026-03-11,170\n":                       "not a chance",
		"day,p10_l,p50_l,p90_l\n2026-03-11,5,4,9\n":              "do not rise",
		"day,chance_pct\n17 March,20\n":                          "not a day",
		"day,chance_pct\n2026-03-11,20\n2026-03-11,30\n":         "stands there twice",
		"day,p10_l,p50_l\n2026-03-11,5,6\n":                      "neither chances nor litres",
		"day,chance_pct,p10_l,p50_l,p90_l\n2026-03-11,20,-1,1,2": "do not rise",
	} {
		if _, err := ReadForecasts(strings.NewReader(text), "theirs.csv"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, not %q", text, err, want)
		}
	}
}
