package forecast_test

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// Fifty pails, and frost by night and thaw by day.
func ExampleMake() {
	now := time.Date(2026, 3, 10, 22, 0, 0, 0, time.UTC)
	air := weather.NewSeries(now.AddDate(0, 0, -14), 24*24)
	for i := range air.Hours() {
		air.Col(weather.TemperatureC)[i] = 1 - 7*math.Cos(2*math.Pi*float64(air.Time(i).Hour()-8)/24)
	}
	outlook, err := forecast.Make(forecast.Inputs{
		Site: forecast.Site{
			ID: "hill", Name: "Hill", Place: weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}, Zone: time.UTC,
			TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
			Groups: []forecast.Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 7.5}},
		},
		Bulletin: weather.Bulletin{Source: "example", IssuedAt: now, Course: air, ElevationM: math.NaN()},
		Now:      now, Seed: 1,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	tomorrow := outlook.Days[1]
	fmt.Println("likely to run:", tomorrow.RunProbability > 0.5)
	fmt.Println("the low is below freezing:", tomorrow.TemperatureC.Min < 0)
	// Output:
	// likely to run: true
	// the low is below freezing: true
}
