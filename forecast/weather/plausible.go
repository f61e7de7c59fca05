package weather

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Bounds of what is believed. Degrees Fahrenheit read as Celsius lie 20 K and more
// too high in any weather above -15 °C; forecasts a day ahead err by 2 K (archived
// US forecasts of 2021), and what the same hours are from one day to the next
// changes by less than changeK at the middle.
const (
	comparedHours = 48
	fewestSame    = 12
	jumpK         = 12.0 // two that speak of the same hours
	changeK       = 20.0 // the hours of one day and those of the next
	warmestK      = 24.0 // above the usual mean of the date, at the middle of two days
	coldestK      = 45.0
)

// usualMeanC is about the mean temperature of a date in the east of North America
// at sea level: 6.5 °C in the year at 44° north and 0.9 K less for each degree,
// half a year's swing of 14 K and 0.5 K more for each degree (common practice).
func usualMeanC(latitudeDeg float64, at time.Time) float64 {
	north := math.Abs(latitudeDeg) - 44
	day := float64(at.YearDay())
	if latitudeDeg < 0 {
		day += 182.5
	}
	return 6.5 - 0.9*north + max(14+0.5*north, 2)*math.Cos(2*math.Pi*(day-201)/365.25)
}

// Implausible says why temperatures over hours from a moment can't be true at a
// place, "" where they can: their middle is held against the date's usual mean.
func (s *Series) Implausible(place Place, from time.Time, hours int) string {
	first := s.Index(from)
	var known []float64
	for i := first; i < first+hours; i++ {
		if t := s.At(TemperatureC, i); !math.IsNaN(t) {
			known = append(known, t)
		}
	}
	if len(known) < fewestSame || math.IsNaN(place.LatitudeDeg) {
		return ""
	}
	middle, usual := Median(known), usualMeanC(place.LatitudeDeg, from)
	if middle > usual+warmestK || middle < usual-coldestK {
		return fmt.Sprintf("its temperatures are %.0f °C at the middle, and about %.0f are usual at %.0f° of latitude in %s: another unit, or another place",
			middle, usual, place.LatitudeDeg, from.Month())
	}
	return ""
}

// Doubt takes out of a bulletin what can't be true beside its course: members that
// lie far from it, and past hours that it can't follow from, or that lie far from
// what before, the bulletin before (nil for none), predicted of them. Each is
// remarked; what was told before and lies as far is left out. It comes before
// anything is centred, which would hide it.
func (b *Bulletin) Doubt(place Place, now time.Time, before *Bulletin) {
	b.Earlier = slices.DeleteFunc(slices.Clone(b.Earlier), func(t Told) bool {
		d := Differences(&b.Course, &t.Course, now, now.Add(comparedHours*time.Hour))
		return len(d) < fewestSame || math.Abs(Median(d)) > jumpK
	})
	if apart := b.membersApart(now); math.Abs(apart) > jumpK {
		b.Members = nil
		b.Remarks = append(b.Remarks, Remark{Kind: MembersDoubted, ByK: math.Round(apart)})
	}
	if apart := b.pastApart(place, now, before); apart != 0 {
		course := b.Course.Slice(0, b.Course.Hours())
		col := course.Col(TemperatureC)
		for i := range min(max(course.Index(now)+1, 0), len(col)) {
			for v := range course.cols {
				if course.cols[v] != nil {
					course.cols[v][i] = math.NaN()
				}
			}
		}
		b.Course = course
		b.Remarks = append(b.Remarks, Remark{Kind: PastDoubted, ByK: math.Round(apart)})
	}
}

// membersApart is how far the members lie from the course in the coming hours, at
// the middle; 0 where too little can be compared.
func (b *Bulletin) membersApart(now time.Time) float64 {
	var diffs []float64
	for m := range b.Members {
		diffs = append(diffs, Differences(&b.Members[m], &b.Course, now, now.Add(comparedHours*time.Hour))...)
	}
	if len(diffs) < fewestSame {
		return 0
	}
	return Median(diffs)
}

// pastApart is how far the past lies from where it can be, 0 where it may be true.
func (b *Bulletin) pastApart(place Place, now time.Time, before *Bulletin) float64 {
	if before != nil {
		told := before.IssuedAt
		if early := now.Add(-comparedHours * time.Hour); told.Before(early) {
			told = early
		}
		d := Differences(&b.Course, &before.Course, told.Add(time.Hour), now)
		if len(d) >= fewestSame {
			if m := Median(d); math.Abs(m) > jumpK {
				return m
			}
		}
	}
	var diffs []float64
	here := b.Course.Index(now)
	for i := here - 23; i <= here; i++ {
		if d := b.Course.At(TemperatureC, i) - b.Course.At(TemperatureC, i+24); !math.IsNaN(d) {
			diffs = append(diffs, d)
		}
	}
	if len(diffs) >= fewestSame {
		if m := Median(diffs); math.Abs(m) > changeK {
			return m
		}
	}
	if from := now.Add(-comparedHours * time.Hour); b.Course.Implausible(place, from, comparedHours) != "" {
		past := b.Course.Slice(b.Course.Index(from), here+1)
		known := slices.DeleteFunc(slices.Clone(past.Col(TemperatureC)), math.IsNaN)
		return Median(known) - usualMeanC(place.LatitudeDeg, now)
	}
	return 0
}

// Differences are a's temperatures less b's, of the hours in [from, to) that both know.
func Differences(a, b *Series, from, to time.Time) []float64 {
	var out []float64
	for at := from; at.Before(to); at = at.Add(time.Hour) {
		if d := a.At(TemperatureC, a.Index(at)) - b.At(TemperatureC, b.Index(at)); !math.IsNaN(d) {
			out = append(out, d)
		}
	}
	return out
}

// Median sorts what it is given.
func Median(of []float64) float64 {
	slices.Sort(of)
	return of[len(of)/2]
}
