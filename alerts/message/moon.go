package message

import (
	"fmt"
	"math"
	"time"
)

// Moon is what the reader's language calls the moon of a day, where its file names moons:
// moon_1 to moon_12 after the month in which each is full, moon_13 for a second full moon
// within one month; "" where it does not.
func (w *Words) Moon(t time.Time) string {
	full := nextFullMoon(t).In(t.Location())
	n := int(full.Month())
	if full.AddDate(0, 0, -30).Month() == full.Month() {
		n = 13
	}
	return w.habit(fmt.Sprintf("moon_%d", n), "")
}

// nextFullMoon is the first full moon that is not over a day before a moment, to within a
// quarter of an hour (Meeus, Astronomical Algorithms, 2nd edition, chapter 49, the largest
// terms).
func nextFullMoon(t time.Time) time.Time {
	year := float64(t.Year()) + float64(t.YearDay())/365.25
	for k := math.Floor((year-2000)*12.3685) - 1 + 0.5; ; k++ {
		if at := phase(k); at.After(t.Add(-24 * time.Hour)) {
			return at
		}
	}
}

// phase is the moment of lunation k: whole for a new moon, with a half for a full one.
func phase(k float64) time.Time {
	c := k / 1236.85
	day := 2451550.09766 + 29.530588861*k + 0.00015437*c*c
	rad := func(deg float64) float64 { return math.Mod(deg, 360) * math.Pi / 180 }
	e := 1 - 0.002516*c
	sun := rad(2.5534 + 29.10535670*k)
	moon := rad(201.5643 + 385.81693528*k + 0.0107582*c*c)
	lat := rad(160.7108 + 390.67050284*k - 0.0016118*c*c)
	day += -0.40614*math.Sin(moon) + 0.17302*e*math.Sin(sun) + 0.01614*math.Sin(2*moon) + 0.01043*math.Sin(2*lat) +
		0.00734*e*math.Sin(moon-sun) -
		0.00515*e*math.Sin(moon+sun) + 0.00209*e*e*math.Sin(2*sun) - 0.00111*math.Sin(moon-2*lat)
	const unixEpoch = 2440587.5
	return time.Unix(int64(math.Round((day-unixEpoch)*86400))-69, 0).UTC() // dynamical time was 69 s ahead
}
