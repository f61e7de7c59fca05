package verify

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"thawline/forecast/weather"
)

// The members that are made for a service with one forecast err as archived
// forecasts do: spread of lows and of next highs by lead, and their
// correlation, against nine stations of 2021 (see pairsFile).
func TestMadeMembersErrAsForecastsDo(t *testing.T) {
	place := weather.Place{LatitudeDeg: 43, LongitudeDeg: -75, ElevationM: 200}
	now := time.Date(2021, 3, 10, 17, 0, 0, 0, time.UTC) // noon by the sun
	days := weather.NewDaily(now, 6)
	for i := range days.LowC {
		days.LowC[i], days.HighC[i] = -4, 6
	}
	course := days.Hourly(place)
	course = course.Slice(course.Index(now), course.Hours()-24)
	course.Complete(place)
	const count = 4001
	members := weather.ErrorMembers(&course, place, now, count, 7)
	// Hours from noon to the lows and highs that follow.
	errorsAt := func(hour int) []float64 {
		var e []float64
		for m := 1; m < count; m++ {
			e = append(e, 1.8*(members[m].At(weather.TemperatureC, hour)-course.At(weather.TemperatureC, hour)))
		}
		return e
	}
	spread := func(e []float64) float64 { return math.Sqrt(stat.Moment(2, e, nil)) }
	const toLow, toHigh = 17, 26
	made := map[string][]float64{}
	archived := map[string][]float64{}
	for _, l := range Leads(pairsFile(t)) {
		archived[l.Of] = append(archived[l.Of], l.SDF) // the shortest lead, half a day more, a day more
	}
	for of, first := range map[string]int{"low": toLow, "next high": toHigh} {
		made[of] = []float64{spread(errorsAt(first)), spread(errorsAt(first + 24))}
		t.Logf("%s: archived forecasts err by %.2f °F, members by %.2f and, a day later, %.2f", of, archived[of], made[of][0], made[of][1])
		if math.Abs(made[of][0]/archived[of][0]-1) > 0.06 || math.Abs(made[of][1]/archived[of][2]-1) > 0.06 {
			t.Errorf("%s: members err by %.2f °F", of, made[of])
		}
	}
	low, high := errorsAt(toLow), errorsAt(toHigh)
	if r := stat.Correlation(low, high, nil); math.Abs(r-0.15) > 0.15 {
		t.Errorf("correlation of low and next high %.2f, fitted 0.15", r)
	}
}
