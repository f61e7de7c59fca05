package sap

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// seasonOf is the litres a tap and the days of half a litre and more that the weather
// of 15 February to 30 April 2015 on the hill gives.
func seasonOf(t *testing.T, s weather.Series) (litres float64, runDays int) {
	t.Helper()
	now := time.Date(2015, 5, 1, 4, 0, 0, 0, time.UTC)
	e, err := weather.Assemble(&weather.Bulletin{Source: "csv", Course: s, ElevationM: math.NaN()}, hillPlace, now, 1)
	if err != nil {
		t.Fatal(err)
	}
	tree := trunk.NewTree(0.3, trunk.Exposed(trunk.Closed, math.NaN()), hillPlace)
	state := tree.Rest(-5)
	hours := make([]trunk.Hour, e.Past.Hours())
	tree.Run(&state, &e.Past, weather.Suns(&e.Past, hillPlace), hours)
	flow := make([]float64, len(hours))
	var tap State
	Usual.Run(&tap, hours, 0, flow)
	byDay := map[int]float64{}
	for i, q := range flow {
		if at := e.Past.Time(i).Add(-5 * time.Hour); !at.Before(time.Date(2015, 2, 15, 0, 0, 0, 0, time.UTC)) {
			byDay[at.YearDay()] += q
			litres += q
		}
	}
	for _, q := range byDay {
		if q >= 0.5 {
			runDays++
		}
	}
	return litres, runDays
}

var hillPlace = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}

// The same season told without sunshine, or by temperature alone, gives about as much
// sap, and by lows and highs hardly more than weather.Daily says; days that stay below
// freezing give none.
func TestCoarseWeatherGivesAsMuch(t *testing.T) {
	whole := hillStation(t)
	zone := time.FixedZone("EST", -5*3600)
	without := func(of ...weather.Variable) weather.Series {
		s := whole.Slice(0, whole.Hours())
		for _, v := range of {
			col := s.Col(v)
			for i := range col {
				col[i] = math.NaN()
			}
		}
		return s
	}
	days := whole.Days(zone)
	litres, runs := seasonOf(t, whole)
	for _, c := range []struct {
		name  string
		s     weather.Series
		least float64
		most  float64
	}{
		{"lows and highs", days.Hourly(hillPlace), 1, 1.18},
		{"no sunshine", without(weather.ShortwaveWM2), 0.95, 1.05},
		{"temperature alone", without(weather.ShortwaveWM2, weather.DewPointC, weather.RelativeHumidityPct, weather.WindSpeedMS), 0.92, 1.08},
	} {
		l, n := seasonOf(t, c.s)
		t.Logf("%s: %.1f L on %d days, by all that was measured %.1f on %d: %+.1f %%", c.name, l, n, litres, runs, 100*(l/litres-1))
		if l < c.least*litres || l > c.most*litres || n < runs-4 || n > runs+4 {
			t.Errorf("%s: %.1f L on %d days, by all that was measured %.1f on %d", c.name, l, n, litres, runs)
		}
	}
	cold := whole.Days(zone)
	for i := range cold.LowC {
		if above := cold.HighC[i] + 1; above > 0 {
			cold.LowC[i], cold.HighC[i] = cold.LowC[i]-above, cold.HighC[i]-above
		}
	}
	if l, n := seasonOf(t, cold.Hourly(hillPlace)); l > 2 || n > 0 {
		t.Errorf("days of -1 °C and less give %.1f L on %d days", l, n)
	}
	still := without(weather.ShortwaveWM2)
	col := still.Col(weather.TemperatureC)
	for i := range col {
		col[i] = min(col[i], -1)
	}
	if l, n := seasonOf(t, still); l > 3 || n > 0 { // a constant sky gave 80 L
		t.Errorf("air that never passes -1 °C, its sunshine not told, gives %.1f L on %d days", l, n)
	}
}
