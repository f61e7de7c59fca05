package weather

import (
	"math"
	"testing"
	"time"
)

// Courses that are drawn side by side are as each alone would be.
func TestHourlyAlikeIsHourly(t *testing.T) {
	place := Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	first := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	var courses []Daily
	for k := range 3 {
		d := NewDaily(first, 12)
		for i := range d.LowC {
			d.LowC[i], d.HighC[i] = float64(-i-k), float64(2*i+k)
		}
		courses = append(courses, d)
	}
	from, to := first.Add(30*time.Hour), first.Add(200*time.Hour)
	air, suns := HourlyAlike(courses, place, from, to)
	for k := range courses {
		want := courses[k].Hourly(place)
		want = want.Between(from, to)
		want.FillGaps()
		sun := Suns(&want, place)
		want.Complete(place)
		if air[k].Hours() != want.Hours() || !air[k].Start().Equal(want.Start()) || len(suns) != len(sun) {
			t.Fatalf("%d hours from %s under %d suns, want %d from %s", air[k].Hours(), air[k].Start(), len(suns), want.Hours(),
				want.Start())
		}
		for v := range variables {
			for i := range want.Hours() {
				if a, b := air[k].At(v, i), want.At(v, i); a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
					t.Fatalf("course %d, column %d, hour %d: %v, alone %v", k, v, i, a, b)
				}
			}
		}
		for i := range sun {
			if suns[i] != sun[i] {
				t.Fatalf("sun of hour %d: %v, alone %v", i, suns[i], sun[i])
			}
		}
	}
}
