package season

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// A course of the spring has each day from who knows it best: what was measured, before
// today; the forecast from today on, and where a day was not measured; the same day of an
// earlier year after it; what is usual last. A forecast never takes the place of what was.
func TestDaysOfACourse(t *testing.T) {
	now := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	fill := func(d *weather.Daily, from, to int, c float64) { // days from today
		for i := from; i <= to; i++ {
			k := d.Index(now.AddDate(0, 0, i))
			d.LowC[k], d.HighC[k] = c, c+1
		}
	}
	known := weather.NewDaily(time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC), 200)
	fill(&known, -10, 0, 100)
	fill(&known, -5, -5, math.NaN())
	ahead := weather.NewDaily(now.AddDate(0, 0, -8), 20)
	fill(&ahead, -8, 4, 200)
	fill(&ahead, 3, 3, math.NaN())
	years := weather.NewDaily(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC), 366)
	for i := range years.LowC {
		years.LowC[i], years.HighC[i] = 300+float64(i), 301+float64(i)
	}
	s := Spring{Known: known, Ahead: []weather.Daily{ahead}, Years: &years}
	usual := usualDays(now, 44, 300)
	c := s.course(now, 0, 4, []int{2024}, &usual)
	at := func(days int) float64 { low, _ := c.At(c.Index(now.AddDate(0, 0, days))); return low }
	ofYear := func(days int) float64 {
		low, _ := years.At(years.Index(time.Date(2024, 3, 20, 0, 0, 0, 0, time.UTC).AddDate(0, 0, days)))
		return low
	}
	usualOf := func(days int) float64 { low, _ := usual.At(usual.Index(now.AddDate(0, 0, days))); return low }
	for days, want := range map[int]float64{-11: usualOf(-11), -10: 100, -6: 100, -5: 200, -4: 100, -1: 100, 0: 200, 2: 200, 3: ofYear(3), 4: 200,
		5: ofYear(5), 40: ofYear(40)} {
		if got := at(days); got != want {
			t.Errorf("day %d: %g, not %g", days, got, want)
		}
	}
	// Where no earlier year is known, and no forecast, today is as it was measured, and the
	// days to come are the usual ones, warmer or colder as a whole.
	s = Spring{Known: known}
	for k, warmer := range map[int]bool{0: false, 3: true} {
		c := s.course(now, k, 4, nil, &usual)
		today, _ := c.At(c.Index(now))
		next, _ := c.At(c.Index(now.AddDate(0, 0, 1)))
		if today != 100 || (next > usualOf(1)) != warmer || math.Abs(next-usualOf(1)) > 3*springSDK {
			t.Errorf("course %d: today %g, tomorrow %g where %g is usual", k, today, next, usualOf(1))
		}
	}
}

// A sign comes so many days before, and strays as its springs do, with two springs of eight
// days beside them: worked out by hand.
func TestLeadsOfASign(t *testing.T) {
	years := []SignYear{{"frogs", 2021, 80, 90, 100, 0}, {"frogs", 2022, 80, 95, 110, 0}, {"frogs", 2023, 80, 0, 96, 0}, {"frogs", 2024, 80, 85, 0, 0}}
	days, sd := leadOf(years, func(y *SignYear) float64 { return y.EndDOY })
	// 20, 30 and 16 days: 22 in the mean, 4 + 64 + 36 squared beside 2 x 64, over 3 + 2
	if math.Abs(days-22) > 1e-9 || math.Abs(sd-math.Sqrt((128.0+104)/5)) > 1e-9 {
		t.Errorf("ends: %g days, %g", days, sd)
	}
	if days, sd := leadOf(years[3:], func(y *SignYear) float64 { return y.EndDOY }); !math.IsNaN(days) || !math.IsNaN(sd) {
		t.Errorf("of no spring: %g days, %g", days, sd)
	}
}

// Days of a course stray as those of the years that it was measured by: lows and highs
// together, and each day with the one before.
func TestDaysStrayTogether(t *testing.T) {
	const courses, days, settled = 400, 80, 30
	now := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	var together, lowKept, highKept, low2, high2, n float64
	for k := range courses {
		d := weather.NewDaily(now, days)
		for i := range d.LowC {
			d.LowC[i], d.HighC[i] = -50, 50
		}
		(&Spring{}).stir(&d, now, k, courses)
		x := func(i int) float64 { return (d.LowC[i] + 50) / lowSDK }
		y := func(i int) float64 { return (d.HighC[i] - 50) / highSDK }
		for i := settled; i < days; i++ {
			together += x(i) * y(i)
			lowKept, highKept = lowKept+x(i)*x(i-1), highKept+y(i)*y(i-1)
			low2, high2, n = low2+x(i)*x(i), high2+y(i)*y(i), n+1
		}
	}
	for what, c := range map[string][2]float64{"lows stray by": {low2 / n, 1}, "highs stray by": {high2 / n, 1}, "together": {together / n, dailyTogether},
		"lows kept": {lowKept / n, dailyKept}, "highs kept": {highKept / n, dailyKept}} {
		if math.Abs(c[0]-c[1]) > 0.06 {
			t.Errorf("%s: %.3f, not %.3f", what, c[0], c[1])
		}
	}
}
