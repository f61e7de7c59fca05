package season

import (
	"math"
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
	11: {-2.5, 8.1}, 12: {-8.8, 1.2}, 1: {-10.3, 0.3}, 2: {-11.0, 0.7}, 3: {-5.7, 6.3}, 4: {0.1, 13.2}, 5: {5.4, 19.4}, 6: {10.7, 24.0}, 7: {13.5, 26.5},
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

// Ahead foretells the buds of the spring of now: the days that are known, then
// the courses ahead, then each earlier year in turn, or, without those, normal
// springs that are warmer or colder by what springs stray. Days before the
// known ones are taken as normal; ok is false where heat may have been missed.
func (b *Buds) Ahead(now time.Time, s *Spring, elevationM float64) (o Opening, ok bool) {
	firstKnown := -1
	for i := range s.Known.LowC {
		if !math.IsNaN(s.Known.LowC[i]) {
			firstKnown = i
			break
		}
	}
	year := now.Year()
	if firstKnown < 0 || s.Known.Date(firstKnown).After(time.Date(year, 1, latestKnown, 0, 0, 0, 0, time.UTC)) {
		return Opening{}, false
	}
	years := s.earlierYears(year)
	var all []weather.Daily
	for k := range Courses {
		all = append(all, b.course(now, s, k, years, elevationM))
	}
	o, err := b.Opening(year, all)
	return o, err == nil
}

// earlierYears lists the years whose spring is known.
func (s *Spring) earlierYears(year int) []int {
	var years []int
	if s.Years == nil {
		return nil
	}
	for y := s.Years.First.Year(); y < year; y++ {
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

// course is the k-th way that the winter and spring may go.
func (b *Buds) course(now time.Time, s *Spring, k int, years []int, elevationM float64) weather.Daily {
	year := now.Year()
	first := time.Date(year-1, 11, 1, 0, 0, 0, 0, time.UTC)
	d := weather.NewDaily(first, int(time.Date(year, 7, 1, 0, 0, 0, 0, time.UTC).Sub(first).Hours()/24))
	warmer := springSDK * distuv.UnitNormal.Quantile((float64(k)+0.5)/Courses)
	today, known := d.Index(now), s.Known.Index(first)
	var ahead *weather.Daily
	fromAhead := 0
	if n := len(s.Ahead); n > 0 {
		ahead = &s.Ahead[(k*n/Courses)%n]
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
			low, high = normal(d.Date(i), b.LatitudeDeg, elevationM)
			if i >= today && len(years) == 0 {
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

// Sap turns as buds swell, well before they open: the tap logs of 2013 and 2014
// end three to five weeks before the leaf buds of a forest 40 km away opened
// (CC0, Baumer et al.; Harvard Forest HF003). What was learnt at one place errs
// by about five days at others.
const (
	endBeforeBuds = 28.0
	endBeforeSD   = 6.0
	elsewhereSD   = 5.0
)

// EndBy is the end of the season as the buds foretell it, held together with
// the usual end at the place; each counts by how sure it is.
func EndBy(o Opening, latitudeDeg, elevationM float64, now time.Time) End {
	mean, variance := 0.0, 0.0
	for i, m := range o.mean {
		mean += o.weight[i] * m
	}
	for i, m := range o.mean {
		variance += o.weight[i] * ((m-mean)*(m-mean) + o.sd[i]*o.sd[i])
	}
	variance += endBeforeSD*endBeforeSD + elsewhereSD*elsewhereSD
	byBuds, byPlace := 1/variance, 1/(endSDDays*endSDDays)
	day := ((mean-endBeforeBuds)*byBuds + usualEndDay(latitudeDeg, elevationM)*byPlace) / (byBuds + byPlace)
	sd := 1 / math.Sqrt(byBuds+byPlace)
	return endAt(day, sd, now)
}
