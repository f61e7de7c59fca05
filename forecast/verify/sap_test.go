package verify

import (
	"context"
	"fmt"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

var hill = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}

func newYork(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// hillOptions are those of the tap logs' hill.
func hillOptions(t testing.TB) SapOptions {
	return SapOptions{Place: hill, Zone: newYork(t), Method: volume.Pail, Canopy: trunk.Closed, TreeDiameterM: 0.3}
}

func tapLog(t testing.TB, year int) []records.Visit {
	t.Helper()
	f := beside.Open(t, fmt.Sprintf("data/tap-log-%d.csv", year))
	visits, err := records.ReadCSV(f, f.Name(), newYork(t))
	if err != nil {
		t.Fatal(err)
	}
	return visits
}

// forestHours are hours made from the daily lows and highs of Harvard Forest,
// 40 km from the tap logs (HF001, Boose).
func forestHours(t testing.TB) weather.Series {
	t.Helper()
	f := beside.Open(t, "data/forest-station-2012-2014-daily.csv")
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	return d.Hourly(hill)
}

// TestSapSkillOnTapLogs foretells the visits of two seasons (R package
// macleish, CC0, Baumer et al.). The forest station lies 89 m higher than the
// hill: 0.58 K at 6.5 K a kilometre.
func TestSapSkillOnTapLogs(t *testing.T) {
	w := forestHours(t)
	o := hillOptions(t)
	o.WarmerK = 0.58
	for year, least := range map[int]float64{2013: 0.6, 2014: 0.75} {
		r, err := BacktestSap(context.Background(), &w, tapLog(t, year), nil, o)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%d: n %d spearman %.3f %.2f pearson %.3f crps %.1f skill %.3f cover %.2f rule %.2f heat %.2f pit %.2f", year, r.N,
			r.Spearman, r.Spearman90, r.Pearson, r.CRPSL, r.CRPSSkill, r.Coverage80, r.RuleSpearman, r.HeatSpearman, r.MeanPIT)
		if r.Spearman < least || r.Spearman < r.HeatSpearman+0.15 || r.CRPSSkill < 0.1 || r.Coverage80 < 0.65 {
			t.Errorf("%d: %+v", year, r)
		}
	}
}
