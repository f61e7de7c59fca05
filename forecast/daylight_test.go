package forecast

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// Steps over which the sun can't rise or set are passed over: the spans are those of a look
// at every five minutes, up to the circles where it does neither.
func TestDaylightIsThatOfEveryStep(t *testing.T) {
	const step = 5 * time.Minute
	for _, latitude := range []float64{0, 44, 58, 66, 70, -43} {
		for month := time.January; month <= time.December; month++ {
			site := Site{Place: weather.Place{LatitudeDeg: latitude, LongitudeDeg: -72}}
			start := time.Date(2026, month, 20, int(month), 0, 0, 0, time.UTC)
			var want []rounds.Span
			for i, was := 0, false; i <= 48*12; i++ {
				at := start.Add(time.Duration(i) * step)
				is := weather.SunAt(at, latitude, -72).ElevationDeg > lowSunDeg
				if is && !was {
					want = append(want, rounds.Span{From: at, To: at.Add(step)})
				} else if is {
					want[len(want)-1].To = at
				}
				was = is
			}
			if d := cmp.Diff(want, daylight(&site, start, 48)); d != "" {
				t.Errorf("%g° in %s:\n%s", latitude, month, d)
			}
		}
	}
}
