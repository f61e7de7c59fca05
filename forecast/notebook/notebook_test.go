package notebook

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
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

// A night of frost makes ice in pails, and next to none in a tank that many taps share: 100 gallons
// have 3 m² or so of surface, a pail of two a fifth of one (geometry of cylinders). What stands
// in it as a thin sheet, days long in bitter cold, freezes there too.
func TestATankHardlyFreezesOvernight(t *testing.T) {
	w := weather.NewSeries(time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC), 48)
	flow := make([]float64, 48)
	flow[1] = 1
	for h := range flow {
		w.Col(weather.TemperatureC)[h] = -6
	}
	pail, tank := Taps{Count: 100, ContainerL: 7.5}, Taps{Count: 100, TankL: 380}
	if now := Hung(&w, flow, w.Time(0), pail); now.Pail.IceL != 1 {
		t.Errorf("%.2f L of ice in a pail", now.Pail.IceL)
	}
	night := w.Slice(0, 14)
	if now := Hung(&night, flow, w.Time(0), pail); now.Pail.IceL < 0.5 {
		t.Errorf("%.2f L of ice in a pail after a night", now.Pail.IceL)
	}
	if now := Hung(&night, flow, w.Time(0), tank); now.Pail.IceL > 0.12 || now.Pail.LiquidL < 0.88 {
		t.Errorf("%+v in a tank after a night", now.Pail)
	}
	for h := range flow {
		w.Col(weather.TemperatureC)[h] = -15
	}
	if flow[1] = 0.3; Hung(&w, flow, w.Time(0), tank).Pail.LiquidL > 0 {
		t.Error("what stands in a tank to a tenth does not freeze in two days of bitter cold")
	}
}

// Ice is worked out for some yields: little sap freezes through, of much a part. In between it is
// within a tenth of what a pail comes to hour by hour.
func TestIceOfEachYield(t *testing.T) {
	w := weather.NewSeries(time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC), 96)
	flow := make([]float64, 96)
	for h := range flow {
		flow[h] = max(0.1*math.Sin(2*math.Pi*float64(h-9)/24), 0)
		w.Col(weather.TemperatureC)[h] = -5 + 6*math.Sin(2*math.Pi*float64(h-9)/24)
	}
	now := Hung(&w, flow, w.Time(0), Taps{Count: 100, ContainerL: 7.5})
	for yield := 0.05; yield < 20; yield *= 1.3 {
		p := rounds.Pail{}
		for h, q := range flow {
			p.Hour(yield*q, rounds.Melts(w.At(weather.TemperatureC, h)))
		}
		if got := now.Ice.At(yield); math.Abs(got-p.IceL) > 0.01+0.1*p.IceL || got > (now.Pail.LiquidL+now.Pail.IceL)*yield+1e-9 {
			t.Errorf("%.2f L of ice at %.2f times the yield, not %.2f", got, yield, p.IceL)
		}
	}
	if little, much := now.Ice.At(0.25), now.Ice.At(8); little < 0.2 || much > 8*little {
		t.Errorf("%.2f L of ice where little came, %.2f where much did", little, much)
	}
}
