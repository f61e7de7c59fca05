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
// sap, and by lows and highs alone too; days that stay below freezing give none.
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
		{"lows and highs", days.Hourly(hillPlace), 0.97, 1.03},
		{"no sunshine", without(weather.ShortwaveWM2), 0.95, 1.05},
		{"temperature alone", without(weather.ShortwaveWM2, weather.DewPointC, weather.RelativeHumidityPct, weather.WindSpeedMS), 0.92,
			1.08},
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
}

// Air that never passes -1 °C gives no day that runs, whether its sunshine was measured or
// not, and whether it is cut off there day and night or each day lies lower. Bark in the sun
// thaws, but trees that have had no warmth give next to nothing. (The flow before trees had
// to wake gave 27 to 47 L.)
func TestAirThatStaysBelowFreezingRunsNoDay(t *testing.T) {
	const top = -1.0
	whole := hillStation(t)
	days := whole.Days(time.FixedZone("EST", -5*3600))
	for _, c := range []struct {
		name   string
		lower  func(at time.Time, airC float64) float64
		mostL  float64
		sunned bool
	}{
		{"cut off, sunshine measured", func(_ time.Time, c float64) float64 { return min(c, top) }, 7, true},
		{"cut off, sunshine not told", func(_ time.Time, c float64) float64 { return min(c, top) }, 3, false},
		{"whole days lower, sunshine measured", func(at time.Time, c float64) float64 {
			_, high := days.At(days.Index(at.Add(-5 * time.Hour)))
			return c - max(high-top, 0)
		}, 0.5, true},
	} {
		s := whole.Slice(0, whole.Hours())
		air, dew, sun := s.Col(weather.TemperatureC), s.Col(weather.DewPointC), s.Col(weather.ShortwaveWM2)
		for i := range air {
			air[i] = c.lower(s.Time(i), air[i])
			dew[i] = min(dew[i], air[i])
			if !c.sunned {
				sun[i] = math.NaN()
			}
		}
		if l, n := seasonOf(t, s); l > c.mostL || n > 0 {
			t.Errorf("%s: air that never passes %g °C gives %.1f L on %d days", c.name, top, l, n)
		}
	}
}
