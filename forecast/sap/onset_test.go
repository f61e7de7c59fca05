package sap

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// onset is the first hour in which sap runs from a tree that froze through a
// night and then thaws in air that rises to a high.
func onset(nightC, dayC float64) int {
	s := weather.NewSeries(hourZero, 48)
	for i := range s.Hours() {
		t := nightC
		if i >= 18 {
			t = nightC + (dayC-nightC)*min(float64(i-18)/8, 1)
		}
		s.Col(weather.TemperatureC)[i] = t
	}
	place := weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	s.Complete(place)
	tree := trunk.NewTree(0.3, trunk.Exposed(trunk.Closed, math.NaN()), place)
	state := tree.Rest(2)
	wood := make([]trunk.Hour, s.Hours())
	tree.Run(&state, &s, weather.Suns(&s, place), wood)
	out := make([]float64, len(wood))
	tap := State{heat: 10 * Usual.WakingHeat} // a tree that is awake
	Usual.Run(&tap, wood, 0, out)
	for i := 18; i < len(out); i++ {
		if out[i] > 0.02 {
			return i
		}
	}
	return len(out)
}

func TestWarmerThawNeverStartsLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		night := rapid.Float64Range(-12, -3).Draw(t, "night")
		day := rapid.Float64Range(0, 12).Draw(t, "day")
		warmer := rapid.Float64Range(day, 15).Draw(t, "warmer day")
		if a, b := onset(night, day), onset(night, warmer); b > a {
			t.Fatalf("a day of %.1f °C starts in hour %d, one of %.1f in hour %d", day, a, warmer, b)
		}
	})
}

// An empty store gives nothing until it freezes again, whatever the warmth.
func TestNoRunWithoutFrostSinceItEmptied(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ice := night(rapid.Float64Range(0.1, 1).Draw(t, "frost"))
		warmDays := rapid.IntRange(6, 30).Draw(t, "warm days")
		ice = append(ice, make([]float64, 24*warmDays)...)
		var s State
		out := make([]float64, len(ice))
		Usual.Run(&s, wood(ice, rapid.Float64Range(0, 12).Draw(t, "wood")), 0, out)
		if last := out[len(out)-1]; last > 0.01 {
			t.Fatalf("%.3f L/h %d days after the last frost", last, warmDays)
		}
	})
}
