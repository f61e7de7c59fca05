package season

import (
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/weather"
)

// Spring is what is known of one spring at a place, and what may come of it.
type Spring struct {
	Known weather.Daily   // days that are past; may begin within the winter
	Ahead []weather.Daily // equally likely courses of the days to come
	Years *weather.Daily  // the same place in earlier years, nil if not known
}

// normals are the mean low and high of each month at Harvard Forest, 42.53° N
// and 340 m, 1989 to 1996 (HF000, Boose and Gould), °C.
var normals = map[time.Month]struct{ low, high float64 }{
	11: {-2.5, 8.1}, 12: {-8.8, 1.2}, 1: {-10.3, 0.3}, 2: {-11.0, 0.7}, 3: {-5.7, 6.3}, 4: {0.1, 13.2}, 5: {5.4, 19.4}, 6: {10.7, 24.0},
	7: {13.5, 26.5},
}

const (
	normalLatitudeDeg, normalElevationM = 42.53, 340.0
	coolingPerDegree                    = 0.9 // K a degree of latitude in spring in the north-east (from memory)
	coolingPerM                         = 0.0065
	springSDK                           = 1.5 // how far the rest of a spring strays from the normal (the same file)
	// latestKnown is the last day of the year on which a known course may begin:
	// from then on heat counts.
	latestKnown = 60
)

// Courses is how many ways a spring may go are looked at.
const Courses = 12

// normal is the usual low and high of a day at a place.
func normal(date time.Time, latitudeDeg, elevationM float64) (low, high float64) {
	month := time.Date(date.Year(), date.Month(), 15, 0, 0, 0, 0, time.UTC)
	next := month.AddDate(0, 1, 0)
	if date.Before(month) {
		month, next = month.AddDate(0, -1, 0), month
	}
	share := date.Sub(month).Hours() / next.Sub(month).Hours()
	a, b := normals[month.Month()], normals[next.Month()]
	if month.Month() == 10 {
		a = b
	}
	if math.IsNaN(elevationM) {
		elevationM = normalElevationM
	}
	cooler := coolingPerDegree*(math.Abs(latitudeDeg)-normalLatitudeDeg) + coolingPerM*(elevationM-normalElevationM)
	return a.low + share*(b.low-a.low) - cooler, a.high + share*(b.high-a.high) - cooler
}

// Ahead predicts the buds of the spring of now: the days that are known, then
// the courses ahead, then each earlier year in turn, or, without those, normal
// springs that are warmer or colder by what springs stray. Days before the
// known ones are taken as normal; ok is false where heat may have been missed.
func (b *Buds) Ahead(now time.Time, s *Spring, elevationM float64) (o Opening, ok bool) {
	year := now.Year()
	if !s.knownFromMarch(year) {
		return Opening{}, false
	}
	years, usual := s.otherYears(year), usualDays(now, b.LatitudeDeg, elevationM)
	var all []weather.Daily
	for k := range Courses {
		all = append(all, s.course(now, k, Courses, years, &usual))
	}
	o, err := b.Opening(year, all)
	return o, err == nil
}

// knownFromMarch reports whether the days of a year are known from the time on from which
// heat counts.
func (s *Spring) knownFromMarch(year int) bool {
	for i := range s.Known.LowC {
		if date := s.Known.Date(i); !math.IsNaN(s.Known.LowC[i]) {
			return !date.After(time.Date(year, 1, latestKnown, 0, 0, 0, 0, time.UTC))
		}
	}
	return false
}

// otherYears lists the years but one whose spring is known.
func (s *Spring) otherYears(year int) []int {
	var years []int
	if s.Years == nil {
		return nil
	}
	for y := s.Years.First.Year(); y <= s.Years.Date(s.Years.Days()).Year(); y++ {
		if y == year {
			continue
		}
		from, to := s.Years.Index(time.Date(y, 3, 1, 0, 0, 0, 0, time.UTC)), s.Years.Index(time.Date(y, 6, 15, 0, 0, 0, 0, time.UTC))
		known := 0
		for i := from; i < to; i++ {
			if low, high := s.Years.At(i); !math.IsNaN(low + high) {
				known++
			}
		}
		if known > (to-from)*9/10 {
			years = append(years, y)
		}
	}
	return years
}

// Courses are ways that the winter and spring of now may go, equally likely: the days that
// are known, then those ahead, then each earlier year in turn, or, without those, normal
// springs with the weather that comes and goes from day to day.
func (s *Spring) Courses(now time.Time, latitudeDeg, elevationM float64) []weather.Daily {
	years, usual := s.otherYears(now.Year()), usualDays(now, latitudeDeg, elevationM)
	of := leastCourses
	if n := len(years); n > 0 {
		of = (leastCourses + n - 1) / n * n
	}
	all := make([]weather.Daily, of)
	for k := range all {
		all[k] = s.course(now, k, of, years, &usual)
		if len(years) == 0 {
			s.stir(&all[k], now, k, of)
		}
	}
	return all
}

const leastCourses = 30

// Lows and highs of March and April stray by these from their season's mean, together
// by dailyTogether, and keep so much of it from day to day (Madison and Milwaukee, 1990 to
// 2020, GHCN-Daily).
const (
	lowSDK, highSDK = 4.8, 6.3
	dailyTogether   = 0.7
	dailyKept       = 0.65
)

// stir gives the normal days from now on the weather of days, after those that the course
// ahead knows.
func (s *Spring) stir(d *weather.Daily, now time.Time, k, of int) {
	rng := rand.New(rand.NewPCG(uint64(k), 0x737469722064))
	ahead, fromAhead := s.ahead(k, of), 0
	if ahead != nil {
		fromAhead = ahead.Index(d.First)
	}
	low, high := 0.0, 0.0
	fresh := math.Sqrt(1 - dailyKept*dailyKept)
	for i := max(d.Index(now), 0); i < d.Days(); i++ {
		both := math.Sqrt(dailyTogether) * rng.NormFloat64()
		alone := math.Sqrt(1 - dailyTogether)
		low = dailyKept*low + fresh*(both+alone*rng.NormFloat64())
		high = dailyKept*high + fresh*(both+alone*rng.NormFloat64())
		if ahead != nil {
			if l, h := ahead.At(fromAhead + i); !math.IsNaN(l + h) {
				continue
			}
		}
		d.LowC[i] += lowSDK * low
		d.HighC[i] = max(d.HighC[i]+highSDK*high, d.LowC[i])
	}
}

// ahead is what the k-th course of so many knows of the days ahead, nil without any.
func (s *Spring) ahead(k, of int) *weather.Daily {
	if n := len(s.Ahead); n > 0 {
		return &s.Ahead[(k*n/of)%n]
	}
	return nil
}

// usualDays are the normal days of the winter and spring of now.
func usualDays(now time.Time, latitudeDeg, elevationM float64) weather.Daily {
	first := time.Date(now.Year()-1, 11, 1, 0, 0, 0, 0, time.UTC)
	d := weather.NewDaily(first, int(time.Date(now.Year(), 7, 1, 0, 0, 0, 0, time.UTC).Sub(first).Hours()/24))
	for i := range d.LowC {
		d.LowC[i], d.HighC[i] = normal(d.Date(i), latitudeDeg, elevationM)
	}
	return d
}

// course is the k-th of so many ways that the winter and spring may go, which has the days
// of the usual one.
func (s *Spring) course(now time.Time, k, of int, years []int, usual *weather.Daily) weather.Daily {
	year, first := now.Year(), usual.First
	d := weather.NewDaily(first, usual.Days())
	warmer := springSDK * distuv.UnitNormal.Quantile((float64(k)+0.5)/float64(of))
	today, known := d.Index(now), s.Known.Index(first)
	ahead := s.ahead(k, of)
	fromAhead := 0
	if ahead != nil {
		fromAhead = ahead.Index(first)
	}
	for i := range d.LowC {
		low, high := s.Known.At(known + i)
		if ahead != nil && (i >= today || math.IsNaN(low+high)) {
			if l, h := ahead.At(fromAhead + i); !math.IsNaN(l + h) {
				low, high = l, h
			}
		}
		if math.IsNaN(low+high) && i >= today && len(years) > 0 {
			y := years[k%len(years)]
			low, high = s.Years.At(s.Years.Index(d.Date(i).AddDate(y-year, 0, 0)))
		}
		if math.IsNaN(low + high) {
			low, high = usual.At(i)
			if len(years) == 0 {
				low, high = low+warmer, high+warmer
			}
		}
		d.LowC[i], d.HighC[i] = low, high
	}
	return d
}

// DegreeDays sums what the known days of the spring of now lie above SumBaseC
// from 1 March on; NaN where a day of those is not known.
func (s *Spring) DegreeDays(now time.Time) float64 {
	sum := 0.0
	from := s.Known.Index(time.Date(now.Year(), 1, sumFrom, 0, 0, 0, 0, time.UTC))
	for i := from; i < s.Known.Index(now); i++ {
		low, high := s.Known.At(i)
		sum += heatAbove(low, high, SumBaseC)
	}
	return sum
}
