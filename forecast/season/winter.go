package season

import (
	"math"
	"time"

	"thawline/forecast/weather"
)

// WinterStart is the first of November before a moment: winters are followed from
// then.
func WinterStart(now time.Time, zone *time.Location) time.Time {
	here := now.In(zone)
	year := here.Year()
	if here.Month() < time.November {
		year--
	}
	return time.Date(year, time.November, 1, 0, 0, 0, 0, zone)
}

// winter is the days from 1 November to 30 June that a bud lives through.
type winter struct {
	low, high []float64 // °C
	days      *dayLengths
	reach     int                   // days before the first gap
	sarvas    []float64             // forcing of each day, made when first asked for
	heat      map[float64][]float64 // kelvins of each day above a base, likewise
}

// forcing is each day's Sarvas forcing, which several candidates share.
func (w *winter) forcing() []float64 {
	if w.sarvas == nil {
		w.sarvas = make([]float64, w.reach)
		for i := range w.sarvas {
			w.sarvas[i] = throughDay(w.low[i], w.high[i], sarvas)
		}
	}
	return w.sarvas
}

// above is the heat of each day above a base.
func (w *winter) above(base float64) []float64 {
	if w.heat[base] == nil {
		if w.heat == nil {
			w.heat = map[float64][]float64{}
		}
		days := make([]float64, w.reach)
		for i := range days {
			days[i] = heatAbove(w.low[i], w.high[i], base)
		}
		w.heat[base] = days
	}
	return w.heat[base]
}

const (
	winterDays   = 242 // to 30 June, or 29 June in a leap year
	firstOfYear  = 61  // index of 1 January
	shortestDays = firstOfYear + 150
)

// winterBefore cuts the winter that ends in a year's spring from the days;
// days are those of its latitude.
func winterBefore(year int, d *weather.Daily, days *dayLengths) winter {
	w := winter{low: make([]float64, winterDays), high: make([]float64, winterDays), days: days, reach: winterDays}
	from := d.Index(time.Date(year-1, 11, 1, 0, 0, 0, 0, time.UTC))
	for i := range winterDays {
		w.low[i], w.high[i] = d.At(from + i)
		if w.reach == winterDays && (math.IsNaN(w.low[i]) || math.IsNaN(w.high[i])) {
			w.reach = i
		}
	}
	return w
}

// dayLengths are those of the days of a winter at a latitude, in hours, and the powers of
// their share of half a day that have been asked for.
type dayLengths struct {
	hours  []float64
	powers map[float64][]float64
}

func daysOfWinter(latitudeDeg float64) *dayLengths {
	d := &dayLengths{hours: make([]float64, winterDays), powers: map[float64][]float64{}}
	for i := range d.hours {
		d.hours[i] = dayHours(i-firstOfYear+1, latitudeDeg)
	}
	return d
}

func (d *dayLengths) power(of float64) []float64 {
	if d.powers[of] == nil {
		out := make([]float64, len(d.hours))
		for i, h := range d.hours {
			out[i] = math.Pow(h/12, of)
		}
		d.powers[of] = out
	}
	return d.powers[of]
}

// dayHours is the length of the day in hours, with the declination by Spencer's
// leading term and a flat horizon (0.1 h near enough for buds; from memory).
func dayHours(dayOfYear int, latitudeDeg float64) float64 {
	declination := 23.45 * math.Pi / 180 * math.Sin(2*math.Pi*float64(dayOfYear-81)/365)
	cos := -math.Tan(latitudeDeg*math.Pi/180) * math.Tan(declination)
	return 24 / math.Pi * math.Acos(min(max(cos, -1), 1))
}

// heatAbove is the mean over a day of the kelvins above a base, for a course
// that swings as a cosine between the low and the high (single-sine method,
// Baskerville and Emin 1969, from memory).
func heatAbove(low, high, base float64) float64 {
	mean, swing := (low+high)/2, (high-low)/2
	switch {
	case base <= low:
		return mean - base
	case base >= high:
		return 0
	}
	x := math.Acos((base - mean) / swing)
	return ((mean-base)*x + swing*math.Sin(x)) / math.Pi
}

// throughDay is the mean over a day of a response to temperature.
func throughDay(low, high float64, response func(c float64) float64) float64 {
	sum := 0.0
	for _, c := range halfCourse {
		sum += response((low+high)/2 - (high-low)/2*c)
	}
	return sum / float64(len(halfCourse))
}

// halfCourse is half a day's course in equal steps; the other half mirrors it.
var halfCourse = func() (c [12]float64) {
	for k := range c {
		c[k] = math.Cos(math.Pi * (float64(k) + 0.5) / float64(len(c)))
	}
	return c
}()
