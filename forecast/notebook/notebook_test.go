package notebook

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// A tank that the tubing ends in is full at what it holds, within what a dipstick tells, and then gave
// at least that, as pails do without a note. Less was all there was; far more was never in it at once.
func TestAFullTankGaveAtLeastThat(t *testing.T) {
	start := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	w := weather.NewSeries(start, 9*24)
	flow := make([]float64, w.Hours())
	for i := range flow {
		w.Col(weather.TemperatureC)[i], flow[i] = 3, 0.1
	}
	volumes := []float64{200, 387, 389, 400, 439, 441, 800}
	var visits []records.Visit
	for i, litres := range volumes {
		visits = append(visits, records.Visit{Group: "lane", CollectedAt: start.AddDate(0, 0, i+1), VolumeL: litres})
	}
	for name, c := range map[string]struct {
		tankL float64
		want  []bool
	}{"a tank": {400, []bool{false, false, true, true, true, false, false}}, "unknown": {0, make([]bool, len(volumes))}} {
		entries, _ := Read(&w, nil, time.UTC, visits, Taps{Count: 100, TankL: c.tankL, Bored: func(int) []float64 { return flow }})
		for i, want := range c.want {
			if e := entries[i]; e.Why != "" || e.Visit.AtLeast != want {
				t.Errorf("%s, %.0f L: at least %t, want %t (%s)", name, volumes[i], e.Visit.AtLeast, want, e.Why)
			}
		}
	}
}

// A pail that was full gave at least what was in it, whether its size is known or a
// note says so.
func TestFullPailsGaveAtLeastThat(t *testing.T) {
	start := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	w := weather.NewSeries(start, 6*24)
	flow := make([]float64, w.Hours())
	for i := range flow {
		w.Col(weather.TemperatureC)[i], flow[i] = 3, 0.1
	}
	visit := func(day int, litres float64, note string) records.Visit {
		return records.Visit{Group: "pails", CollectedAt: start.AddDate(0, 0, day), VolumeL: litres, Note: note}
	}
	unknown, _ := Read(&w, nil, time.UTC, []records.Visit{visit(1, 20, "start unknown"), visit(2, 24, "")},
		Taps{Count: 10, Bored: func(int) []float64 { return flow }})
	if unknown[0].Why == "" || unknown[1].Why != "" || math.Abs(unknown[1].Visit.ExpectedL-24) > 1e-9 {
		t.Errorf("of two visits, the first with an unknown start: %+v", unknown)
	}
	entries, _ := Read(&w, nil, time.UTC,
		[]records.Visit{visit(1, 20, ""), visit(2, 24, "some spilled"), visit(3, 24, "pails full"), visit(4, 74, ""), visit(5, 20, "à plein")},
		Taps{Count: 10, ContainerL: 7.5, Bored: func(int) []float64 { return flow }})
	for i, want := range []bool{false, true, true, true, true} {
		if e := entries[i]; e.Why != "" || e.Visit.AtLeast != want {
			t.Errorf("visit %d: at least %t, want %t (%s)", i+1, e.Visit.AtLeast, want, e.Why)
		}
	}
}

// A night of frost makes ice in pails, and next to none in a tank that many taps share.
func TestATankDoesNotFreezeOvernight(t *testing.T) {
	w := weather.NewSeries(time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC), 48)
	flow := make([]float64, 48)
	flow[1] = 1
	for h := range flow {
		w.Col(weather.TemperatureC)[h] = -6
	}
	if now := Hung(&w, flow, w.Time(0), false); now.Pail.IceL < 0.5 {
		t.Errorf("%.2f L of ice in a pail", now.Pail.IceL)
	}
	if now := Hung(&w, flow, w.Time(0), true); now.Pail.IceL != 0 || now.Pail.LiquidL != 1 {
		t.Errorf("%+v in a tank", now.Pail)
	}
}
