package sap

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thawline/forecast/trunk"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// wood makes hours in which stem and branches freeze and thaw together.
func wood(ice []float64, woodC float64) []trunk.Hour {
	out := make([]trunk.Hour, len(ice))
	for i, x := range ice {
		out[i] = trunk.Hour{StemIce: x, BranchIce: x, WoodC: woodC}
	}
	return out
}

func season(ice []float64, vacuumKPa float64) float64 {
	var s State
	out := make([]float64, len(ice))
	Usual.Run(&s, wood(ice, 2), vacuumKPa, out)
	sum := 0.0
	for _, q := range out {
		sum += q
	}
	return sum
}

var hourZero = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

func night(depth float64) []float64 {
	var ice []float64
	for h := range 12 {
		ice = append(ice, depth*math.Sin(math.Pi*float64(h)/12))
	}
	return append(ice, make([]float64, 36)...)
}

func TestNoRunWithoutFrost(t *testing.T) {
	if l := season(make([]float64, 500), 0); l > 0 {
		t.Errorf("%.2f L ran from wood that never froze", l)
	}
}

func TestMoreFrostNeverGivesLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 1).Draw(t, "frost")
		b := rapid.Float64Range(a, 1).Draw(t, "harder frost")
		if season(night(b), 0) < season(night(a), 0)-1e-9 {
			t.Fatalf("a frost of %.2f gives more than one of %.2f", a, b)
		}
	})
}

func TestFlowStopsWhileFrozenAndEndsDaysAfterFrost(t *testing.T) {
	var s State
	ice := append(night(1), make([]float64, 24*6)...)
	out := make([]float64, len(ice))
	Usual.Run(&s, wood(ice, 2), 0, out)
	if out[6] > 1e-6 {
		t.Errorf("%.4f L/h from frozen wood", out[6])
	}
	if peak := slices.Max(out); out[len(out)-1] > peak/100 {
		t.Errorf("still %.3f L/h six days after the frost, of %.3f at the peak", out[len(out)-1], peak)
	}
}

// Five to seven per cent more for each inch of mercury (Wilmot, Perkins and van den Berg
// 2007, from memory): 20 inches should double a run, or more.
func TestVacuumRule(t *testing.T) {
	var ice []float64
	for range 10 {
		n := night(1)
		ice = append(ice, n[:24]...)
	}
	if gain := season(ice, 67.7) / season(ice, 0); gain < 2 || gain > 2.9 { // frost every night gains more than a season
		t.Errorf("20 inHg gives %.2f times the flow", gain)
	}
}

func TestTapholeAges(t *testing.T) {
	if e := Usual.Ageing(AgeRate(3) * 24 * 35); math.Abs(e-0.5) > 0.01 { // five weeks at +3 °C, common practice
		t.Errorf("after five weeks at +3 °C %.3f of the flow is left", e)
	}
}

// hillStation reads the open measurements of a wooded ridge in 2015 (CC0,
// Baumer et al., R package macleish) where they lie beside the checkout.
func hillStation(t testing.TB) weather.Series {
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	s, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSeason2015(t *testing.T) {
	s := hillStation(t)
	place := weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	now := time.Date(2015, 5, 1, 4, 0, 0, 0, time.UTC)
	e, err := weather.Assemble(&weather.Bulletin{Source: "csv", Course: s, ElevationM: math.NaN()}, place, now, 1)
	if err != nil {
		t.Fatal(err)
	}
	tree := trunk.NewTree(0.3, trunk.Exposed(trunk.Closed, math.NaN()), place)
	state := tree.Rest(-5)
	hours := make([]trunk.Hour, e.Past.Hours())
	tree.Run(&state, &e.Past, weather.Suns(&e.Past, place), hours)
	flow := make([]float64, len(hours))
	var tap State
	Usual.Run(&tap, hours, 0, flow)

	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	byDay := map[string]float64{}
	total := 0.0
	for i, q := range flow {
		if at := e.Past.Time(i).In(zone); !at.Before(time.Date(2015, 2, 15, 0, 0, 0, 0, zone)) {
			byDay[at.Format("01-02")] += q
			total += q
		}
	}
	var days []float64
	for _, l := range byDay {
		days = append(days, l)
	}
	slices.Sort(days)
	best := 0.0
	for _, l := range days[len(days)-len(days)/5:] {
		best += l
	}
	var runs []float64
	for _, l := range days {
		if l >= 0.5 {
			runs = append(runs, l)
		}
	}
	t.Logf("season %.1f L a tap, %d run days, strong day %.2f L, best fifth %.2f of all, feb23 %.2f mar6 %.2f mar9-11 %.2f %.2f %.2f",
		total, len(runs), runs[len(runs)*9/10], best/total, byDay["02-23"], byDay["03-06"], byDay["03-09"], byDay["03-10"], byDay["03-11"])
	// 74 % of the sap came in 20 % of the days: Kurokawa et al. 2024, iForest
	// 17:323-330.
	if share := best / total; share < 0.6 || share > 0.85 {
		t.Errorf("the best fifth of days carries %.2f of the sap", share)
	}
	for _, cold := range []string{"02-23", "02-24", "03-06"} {
		if byDay[cold] > 0.3 {
			t.Errorf("%s was a cold snap without thaw, and gives %.2f L a tap", cold, byDay[cold])
		}
	}
	// The first run after weeks of deep frost gives less than later ones: on 10 and 13
	// March 2015 a maker in Wisconsin carried in a quarter to two fifths of what taps that
	// are awake would have given.
	if threeDays := byDay["03-09"] + byDay["03-10"] + byDay["03-11"]; threeDays < 1.2 || threeDays > 3 {
		t.Errorf("9 to 11 March give %.2f L a tap", threeDays)
	}
}

// Branches that are frozen hold the sap back, however thawed the stem is: they draw
// it up (Tyree 1983, from memory).
func TestFrozenBranchesHoldSapBack(t *testing.T) {
	hours := wood(night(1), 2)
	for i := 12; i < 24; i++ {
		hours[i].BranchIce = 1
	}
	var s State
	out := make([]float64, len(hours))
	Usual.Run(&s, hours, 0, out)
	held, after := 0.0, 0.0
	for i, q := range out {
		if i >= 12 && i < 24 {
			held += q
		} else if i >= 24 {
			after += q
		}
	}
	if held != 0 || after < 1 {
		t.Errorf("%.3f L ran while branches were frozen, %.2f after", held, after)
	}
}
