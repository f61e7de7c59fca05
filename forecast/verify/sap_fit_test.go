package verify

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// fitRows are two seasons of a hill (R package macleish, CC0, Baumer et al.) by a station
// 40 km off, and two of a bush in Wisconsin (a maker's public diary) by a town 120 km off
// (GHCN-Daily).
func fitRows(t testing.TB, warmerK float64) []FitRow {
	t.Helper()
	forest := forestHours(t)
	o := hillOptions(t)
	o.WarmerK = 0.58 + warmerK
	var rows []FitRow
	for _, year := range []int{2013, 2014} {
		rows = append(rows, FitRow{fmt.Sprintf("hill %d", year), &forest, tapLog(t, year), o})
	}
	f := beside.Open(t, "data/madison-daily-1990-2020.csv")
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	place := weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}
	hours := d.Hourly(place)
	for _, year := range []int{2015, 2020} {
		f := beside.Open(t, fmt.Sprintf("data/tap-visits-wisconsin-%d.csv", year))
		visits, err := records.ReadCSV(f, f.Name(), zone)
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, FitRow{fmt.Sprintf("Wisconsin %d", year), &hours, visits,
			SapOptions{Place: place, Zone: zone, Method: volume.Pail, Canopy: trunk.Closed, TreeDiameterM: 0.3, WarmerK: warmerK}})
	}
	return rows
}

// Each of four seasons by a flow fitted on the other three. What was found before offsets
// and fills were learnt: a mean of -0.15, and -0.88 in 2020.
func TestSeasonsLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a while")
	}
	r, err := Fit(context.Background(), fitRows(t, 0), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range r.LeftOut {
		t.Logf("%s: n %d skill %.3f habit %.3f flow %.2f cover %.2f %+v %+v", s.LeftOut, s.N, s.CRPSSkill, s.HabitSkill, s.FlowSpearman,
			s.Coverage80, *s.Flow, *s.Offset)
		if s.CRPSSkill < -0.1 || s.CRPSSkill < s.HabitSkill-0.05 {
			t.Errorf("%s: skill %.3f, habit alone %.3f", s.LeftOut, s.CRPSSkill, s.HabitSkill)
		}
	}
	for _, v := range r.Verdicts {
		from, to := forecast.VerdictBounds(v.Verdict)
		t.Logf("%s: %d visits, said %.2f, came %.2f ± %.2f, %.2f in range", v.Verdict, v.N, v.Said, v.Came, v.Error, *v.Coverage80)
		if v.N >= 5 && (v.Came < from-2*v.Error || v.Came > to+2*v.Error) {
			t.Errorf("%s came %.2f of %d times", v.Verdict, v.Came, v.N)
		}
		if v.Verdict == forecast.WillRun && *v.Wide > 8 {
			t.Errorf("where a run is sure nine in ten is %.1f times one in ten", *v.Wide)
		}
	}
	t.Logf("mean %.3f flow %.3f cover %.3f of %d", r.CRPSSkill, r.FlowSpearman, r.Coverage80, r.N)
	if r.CRPSSkill < 0.18 || r.FlowSpearman < 0.5 || r.Coverage80 < 0.72 || r.Coverage80 > 0.88 || r.N != 62 {
		t.Errorf("mean skill %.3f, rank of the flow %.3f, %.3f of %d visits in range", r.CRPSSkill, r.FlowSpearman, r.Coverage80, r.N)
	}
}

// The same where the weather is colder or warmer than the bush's: the visits teach it.
func TestShiftedWeather(t *testing.T) {
	middle := []Constants{{0.15, 450, 23}}
	for shift, least := range map[float64]float64{-2: 0.08, -1: 0.15, 1: 0.15, 2: 0.12} {
		r, err := fitOf(context.Background(), fitRows(t, shift), nil, middle, nil)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%+.0f K: mean %.3f", shift, r.CRPSSkill)
		if r.CRPSSkill < least {
			t.Errorf("weather %+.0f K: mean skill %.3f, want %.2f", shift, r.CRPSSkill, least)
		}
	}
}

// The row left out teaches nothing, and a name that no row has is told.
func TestLeftOutIsNotFittedOn(t *testing.T) {
	rows := fitRows(t, 0)[:2]
	two := []Constants{{0.2, 300, 24}, {1, 300, 14}}
	r, err := fitOf(context.Background(), rows, []string{"hill 2014"}, two, nil)
	if err != nil {
		t.Fatal(err)
	}
	rows[1].Visits = evenVisits(rows[1].Visits, func(i int) float64 { return float64(20 + i) })
	other, err := fitOf(context.Background(), rows, []string{"hill 2014"}, two, nil)
	if err != nil {
		t.Fatal(err)
	}
	if *r.LeftOut[0].Flow != *other.LeftOut[0].Flow {
		t.Errorf("volumes of the row left out moved the constants from %+v to %+v", *r.LeftOut[0].Flow, *other.LeftOut[0].Flow)
	}
	if _, err := fitOf(context.Background(), rows, []string{"hill 2017"}, two, nil); err == nil ||
		!strings.Contains(err.Error(), "the table has hill 2013, hill 2014") {
		t.Errorf("a name that is not there: %v", err)
	}
}

// Constants that were fitted elsewhere are read from what backtest fit writes, or alone.
func TestReadConstants(t *testing.T) {
	want := Constants{0.2, 300, 22}
	var document bytes.Buffer
	if err := json.NewEncoder(&document).Encode(FitResult{LeftOut: []SapResult{{LeftOut: "hill", Flow: &want}}}); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{document.String(), `{"asleep_share": 0.2, "waking_heat_ch": 300, "empty_hours": 22}`} {
		if c, err := ReadConstants(strings.NewReader(text), "f.json"); err != nil || c != want {
			t.Errorf("%.40s: %+v %v", text, c, err)
		}
	}
	for _, text := range []string{"", "{}", `{"asleep_share": 2, "waking_heat_ch": 300, "empty_hours": 22}`, "a,b"} {
		if _, err := ReadConstants(strings.NewReader(text), "f.json"); err == nil || !strings.Contains(err.Error(), "f.json") ||
			!strings.Contains(err.Error(), "backtest fit") {
			t.Errorf("%q: %v", text, err)
		}
	}
	o := SapOptions{Flow: want}
	if p := o.flow(); p.AsleepShare != 0.2 || p.EmptyHours != 22 || (&SapOptions{}).flow().EmptyHours != sap.Usual.EmptyHours {
		t.Errorf("%+v", p)
	}
}
