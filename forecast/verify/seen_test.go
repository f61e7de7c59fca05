package verify_test

import (
	"maps"
	"math"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/verify"
)

// What people saw of a day is an answer, a note of drips, or a round a day after the round
// before; longer gaps, figures that were taken from the forecast, and pulled taps say nothing.
func TestSeenDays(t *testing.T) {
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, time.UTC) }
	round := func(day, hour int, litres float64) forecast.PastVisit {
		return forecast.PastVisit{At: at(day, hour), Group: "ridge", VolumeL: litres}
	}
	taken := round(16, 17, 300)
	taken.Why = notebook.Confirmed
	pulled := round(18, 17, 0)
	pulled.Pulled = true
	visits := []forecast.PastVisit{round(10, 17, 5), round(11, 17, 300), round(12, 17, 2), round(13, 8, math.NaN()), round(15, 17, 400),
		taken, round(17, 17, 0), pulled,
		{At: at(17, 17), Group: "gone", VolumeL: 9}}
	seen := []records.Observation{{Kind: records.NotDripping, Day: "2026-03-20", At: at(20, 15)}, {Kind: records.Dripping, Day: "2026-03-20"},
		{Kind: records.NotDripping, Day: "2026-03-11", At: at(11, 15)}, {Kind: records.NotDripping, Day: "2026-03-25", At: at(25, 12)},
		{Kind: records.Low, Day: "2026-03-22"}}
	taps := func(group string) int { return map[string]int{"ridge": 100}[group] }
	got := verify.SeenDays(visits, taps, seen, map[string]bool{"2026-03-12": true}, time.UTC)
	want := map[string]bool{"2026-03-11": false, "2026-03-12": true, "2026-03-17": false, "2026-03-20": true}
	if !maps.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if n := len(verify.SeenDays(nil, taps, nil, nil, time.UTC)); n != 0 {
		t.Errorf("nobody saw anything, and %d days are judged", n)
	}
}
