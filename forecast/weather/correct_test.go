package weather

import (
	"math"
	"testing"
	"time"
)

// An evening's low and high are drawn towards what the same service said of them
// twelve hours before, by as much as the archive teaches; nothing else that was told
// moves them.
func TestEarlierForecastsMoveTheCentre(t *testing.T) {
	evening := time.Date(2026, 3, 14, 23, 0, 0, 0, time.UTC) // six o'clock at 72° W, about
	days := NewDaily(evening.AddDate(0, 0, -4), 12)
	for i := range days.Days() {
		days.LowC[i], days.HighC[i] = -4, 5
	}
	course := days.Hourly(here)
	low, high := 11, 20 // hours of the future
	centre := func(earlier ...Told) (lowC, highC float64) {
		b := Bulletin{Source: "x", IssuedAt: evening, Course: course, ElevationM: math.NaN(), Errors: &UsualErrors, Earlier: earlier}
		e, err := Assemble(&b, here, evening, 1)
		if err != nil {
			t.Fatal(err)
		}
		lowC, _ = spread(e.Futures, low)
		highC, _ = spread(e.Futures, high)
		return lowC, highC
	}
	told := func(source string, hoursAgo int, byK float64) Told {
		s := course.Slice(0, course.Hours())
		for i := range s.Hours() {
			s.shift(i, byK)
		}
		return Told{source, evening.Add(-time.Duration(hoursAgo) * time.Hour), s}
	}
	plainLow, plainHigh := centre()
	for _, c := range []struct {
		name                string
		earlier             []Told
		wantLowK, wantHighK float64
	}{
		{"as now", []Told{told("x", 12, 0)}, 0, 0},
		{"four kelvin colder this morning", []Told{told("x", 12, -4)}, -4 * UsualErrors.Low[4], -4 * UsualErrors.High[4]},
		{"the nearest to twelve hours counts", []Told{told("x", 7, 3), told("x", 13, -4), told("x", 16, 3)}, -4 * UsualErrors.Low[4],
			-4 * UsualErrors.High[4]},
		{"another service said so", []Told{told("y", 12, -4)}, 0, 0},
		{"degrees Fahrenheit", []Told{told("x", 12, 30)}, 0, 0},
		{"three hours ago", []Told{told("x", 3, -4)}, 0, 0},
		{"two days ago", []Told{told("x", 48, -4)}, 0, 0},
	} {
		gotLow, gotHigh := centre(c.earlier...)
		if math.Abs(gotLow-plainLow-c.wantLowK) > 0.1 || math.Abs(gotHigh-plainHigh-c.wantHighK) > 0.1 {
			t.Errorf("%s: low moved by %.2f K, high by %.2f, want %.2f and %.2f", c.name, gotLow-plainLow, gotHigh-plainHigh,
				c.wantLowK, c.wantHighK)
		}
	}
	// A forecast that was too cold yesterday, where the past is known to say so.
	gotLow, gotHigh := centre(told("x", 24, -2))
	wantLow, wantHigh := -2*UsualErrors.Low[5]+2*UsualErrors.Low[6], -2*UsualErrors.High[5]+2*UsualErrors.High[6]
	if math.Abs(gotLow-plainLow-wantLow) > 0.1 || math.Abs(gotHigh-plainHigh-wantHigh) > 0.1 {
		t.Errorf("too cold by 2 K yesterday: low moved by %.2f K, high by %.2f, want %.2f and %.2f", gotLow-plainLow, gotHigh-plainHigh,
			wantLow, wantHigh)
	}
}
