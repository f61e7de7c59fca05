package trunk_test

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// A stem of a foot, in the shade, through three days of frost and two of thaw.
func ExampleTree_Run() {
	place := weather.Place{LatitudeDeg: 44.6, LongitudeDeg: -72.3, ElevationM: 420}
	air := weather.NewSeries(time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC), 5*24)
	for i := range air.Hours() {
		air.Col(weather.TemperatureC)[i] = 6
		if i < 3*24 {
			air.Col(weather.TemperatureC)[i] = -10
		}
	}
	air.Complete(place) // what is not given is taken as usual

	tree := trunk.NewTree(0.3, trunk.Exposed(trunk.Closed, math.NaN()), place)
	state := tree.Rest(1)
	wood := make([]trunk.Hour, air.Hours())
	tree.Run(&state, &air, weather.Suns(&air, place), wood)
	for _, hour := range []int{0, 3*24 - 1, 5*24 - 1} {
		fmt.Printf("hour %d: ice in the tapped wood: %t\n", hour, wood[hour].StemIce > 0.5)
	}
	// Output:
	// hour 0: ice in the tapped wood: false
	// hour 71: ice in the tapped wood: true
	// hour 119: ice in the tapped wood: false
}
