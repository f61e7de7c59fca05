package weather

import (
	"math"
	"testing"
	"time"
)

func TestCivilDaylight(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	// At an equinox the day from -6 to -6 degrees lasts twelve hours and, at 44.5° north, about
	// 67 minutes more: 12/90 hours for each degree, over the cosine of the latitude.
	for _, day := range []time.Time{time.Date(2026, 3, 20, 0, 0, 0, 0, zone), time.Date(2026, 9, 23, 0, 0, 0, 0, zone)} {
		dawn, dusk := CivilDaylight(day, 44.5, -72.7)
		want := 12 + 2*6/15.0/math.Cos(44.5*math.Pi/180)
		if got := dusk.Sub(dawn).Hours(); math.Abs(got-want) > 0.1 || dawn.Hour() != 6 {
			t.Errorf("%s to %s, want %.2f hours", dawn, dusk, want)
		}
		for _, at := range []time.Time{dawn, dusk} {
			if e := SunAt(at, 44.5, -72.7).ElevationDeg; math.Abs(e+6) > 0.3 {
				t.Errorf("the sun stands at %.2f° at %s", e, at)
			}
		}
	}
	if dawn, dusk := CivilDaylight(time.Date(2026, 12, 21, 0, 0, 0, 0, time.UTC), 80, 0); !dawn.Equal(dusk) {
		t.Errorf("light in the polar night, %s to %s", dawn, dusk)
	}
	if dawn, dusk := CivilDaylight(time.Date(2026, 6, 21, 0, 0, 0, 0, time.UTC), 80, 0); dusk.Sub(dawn) != 24*time.Hour {
		t.Errorf("the midnight sun sets: %s to %s", dawn, dusk)
	}
}
