package source

import (
	"math"
	"time"

	"gonum.org/v1/gonum/interp"

	"thawline/forecast/weather"
)

// Solar hours at which a clear day is coldest and warmest (common practice).
const (
	metColdestSolarHour = 5.5
	metWarmestSolarHour = 14.5
	metLongestStep      = 6 // h that are drawn through; a longer step stays a gap
)

// metKnots are the points that a curve of temperature goes through, hours
// counted from the start of the course.
type metKnots struct{ hours, temperatures []float64 }

func (k *metKnots) add(hour int, temperature float64) {
	k.hours = append(k.hours, float64(hour))
	k.temperatures = append(k.temperatures, temperature)
}

// metDrawTemperature fills the hours between steps of up to six hours. The
// curve (Fritsch and Butland 1984: monotone between knots) never goes beyond
// its knots, and reaches the lowest and highest that a six-hour step states: a
// straight line would cut off the frost of the night. longitudeDeg places them
// in the day; NaN leaves them in the middle of their step.
func metDrawTemperature(course *weather.Series, steps []metStep, longitudeDeg float64) {
	var run metKnots
	for i := range steps {
		from, t := course.Index(steps[i].Time), steps[i].Data.Instant.value("air_temperature")
		if math.IsNaN(t) {
			run.draw(course)
			run = metKnots{}
			continue
		}
		run.add(from, t)
		if i+1 == len(steps) {
			break
		}
		n, next := course.Index(steps[i+1].Time)-from, steps[i+1].Data.Instant.value("air_temperature")
		switch {
		case n > metLongestStep:
			run.draw(course)
			run = metKnots{}
		case n == metLongestStep && !math.IsNaN(next): // the stated extremes are of these very hours
			run.addExtremes(&steps[i], from, t, next, longitudeDeg)
		}
	}
	run.draw(course)
}

// draw sets the hours between the knots, and leaves those that steps gave.
func (k *metKnots) draw(course *weather.Series) {
	if len(k.hours) < 2 {
		return
	}
	var curve interp.FritschButland
	if curve.Fit(k.hours, k.temperatures) != nil {
		return // too few knots, ruled out above
	}
	col := course.Col(weather.TemperatureC)
	for h := int(k.hours[0]); h <= int(k.hours[len(k.hours)-1]); h++ {
		if math.IsNaN(col[h]) {
			col[h] = curve.Predict(float64(h))
		}
	}
}

// addExtremes adds those extremes of a six-hour step that lie beyond the
// temperatures at both its ends.
func (k *metKnots) addExtremes(s *metStep, from int, begin, end, longitudeDeg float64) {
	low, high := s.Data.NextSixHrs.value("air_temperature_min"), s.Data.NextSixHrs.value("air_temperature_max")
	dip, rise := low < min(begin, end), high > max(begin, end)
	lowAt, highAt := metHourOf(metColdestSolarHour, s.Time, longitudeDeg), metHourOf(metWarmestSolarHour, s.Time, longitudeDeg)
	lowFirst := lowAt < highAt
	if dip && rise && lowAt == highAt { // the extreme nearer to the beginning comes first
		lowFirst = begin-low < high-begin
		lowAt, highAt = metLongestStep/3, metLongestStep-metLongestStep/3
		if !lowFirst {
			lowAt, highAt = highAt, lowAt
		}
	}
	if dip && lowFirst {
		k.add(from+lowAt, low)
	}
	if rise {
		k.add(from+highAt, high)
	}
	if dip && !lowFirst {
		k.add(from+lowAt, low)
	}
}

// metHourOf is the hour within a six-hour step, 1 to 5, that is nearest to a
// solar hour, or the middle where that hour is outside the step.
func metHourOf(solarHour float64, start time.Time, longitudeDeg float64) int {
	begin := float64(start.UTC().Hour()) + longitudeDeg/15
	after := math.Mod(math.Mod(solarHour-begin, 24)+24, 24)
	if !(after < metLongestStep) { // also where the longitude is unknown
		return metLongestStep / 2
	}
	return min(max(int(math.Round(after)), 1), metLongestStep-1)
}
