package weather

import (
	"math"
	"testing"
	"time"

	"thawline/testdata/beside"
)

// Each low and high is the air of an hour, and from one to the next it never turns.
func TestHourlyNeverTurnsBetween(t *testing.T) {
	for _, longitude := range []float64{-120, -87.72, -72.5, -60, 0} {
		d := NewDaily(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), 6)
		copy(d.LowC, []float64{-4, -9, 1, 2, -3, 0})
		copy(d.HighC, []float64{6, 2, 9, 3, 5, 7})
		s := d.Hourly(Place{LatitudeDeg: 44, LongitudeDeg: longitude})
		dawn := int(math.Ceil(LowSolarHour - longitude/15))
		for day := range 5 {
			low, high, next := dawn+24*day, dawn+24*day+9, dawn+24*(day+1)
			if next >= s.Hours() {
				continue
			}
			at := func(i int) float64 { return s.At(TemperatureC, i) }
			if at(low) != d.LowC[day] || at(high) != d.HighC[day] {
				t.Errorf("%g°, day %d: %.2f and %.2f °C for %.2f and %.2f", longitude, day, at(low), at(high), d.LowC[day], d.HighC[day])
			}
			for i := low; i < next; i++ {
				if up := at(i+1) - at(i); i < high && up < 0 || i >= high && up > 1e-12 {
					t.Errorf("%g°, day %d: %.2f °C after %.2f", longitude, day, at(i+1), at(i))
				}
			}
		}
	}
}

// Hours drawn from the lows and highs of a hill (CC0, Baumer et al.) lie nearer to what was
// measured there than half cosines between them, which miss by 2.5 K.
func TestHourlyIsLikeMeasuredHours(t *testing.T) {
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	whole, _, err := ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	days := whole.Days(time.FixedZone("EST", -5*3600))
	drawn := days.Hourly(Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251})
	sum, squares, n := 0.0, 0.0, 0.0
	for i := range whole.Hours() {
		at := whole.Time(i)
		if at.Month() < time.February || at.Month() > time.April {
			continue
		}
		if miss := drawn.At(TemperatureC, drawn.Index(at)) - whole.At(TemperatureC, i); !math.IsNaN(miss) {
			sum, squares, n = sum+miss, squares+miss*miss, n+1
		}
	}
	if rms := math.Sqrt(squares / n); rms > 2.35 || math.Abs(sum/n) > 0.2 {
		t.Errorf("drawn hours miss by %.2f K, %+.2f in the mean", rms, sum/n)
	}
}
