package verify

import (
	"math"
	"testing"
	"time"

	"thawline/forecast"
)

// Evenings that spoke of some of the taps are held against a group's part of those; what
// was visited with its taps pulled is held against nothing.
func TestEveningsOfTheTapsThatWereIn(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 4, n, 16, 0, 0, 0, time.UTC) }
	var evenings []forecast.Evening
	for n := 1; n <= 4; n++ {
		e := forecast.Evening{Date: day(n).Format(time.DateOnly),
			Days: []forecast.Day{{Date: day(n + 1).Format(time.DateOnly), RunProbability: 0.9,
				VolumeL: forecast.Range{P10: 50, P50: 100, P90: 200}}}}
		if n > 2 {
			e.TapsIn = 0.5 // half of the taps are pulled
		}
		evenings = append(evenings, e)
	}
	visits := []forecast.PastVisit{{At: day(2), Group: "south", VolumeL: 25}, {At: day(3), Group: "south", VolumeL: 30},
		{At: day(5), Group: "south", VolumeL: 100},
		{At: day(2), Group: "north", VolumeL: 25}, {At: day(4), Group: "north", VolumeL: 0, Pulled: true}}
	s := Evenings(evenings, nil, visits, func(string) float64 { return 0.25 }, time.UTC)
	if len(s.Visits) != 2 || math.Abs(s.Visits[0].P50-25) > 1e-9 || math.Abs(s.Visits[1].P50-100) > 1e-9 ||
		math.Abs(s.Visits[1].P90-200) > 1e-9 {
		t.Errorf("%+v", s.Visits)
	}
}
