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
	spikeK        = 15.0 // of one hour from both beside it
	laterK        = 25.0 // a member from the course, later than two days from now
	widestK       = 42.0 // from a day's low to its high, at the middle
	upsideK       = 4.0  // the end of nights above afternoons, at the mean of days
	upsideDays    = 4
)

// likely bounds each column: what no weather on a maple's ground exceeds.
var likely = map[Variable][2]float64{
	TemperatureC: {-70, 60}, DewPointC: {-90, 40}, RelativeHumidityPct: {0, 110},
	SurfacePressureHPa: {500, 1100}, ShortwaveWM2: {-20, 1500}, CloudCoverPct: {-1, 101},
	WindSpeedMS: {0, 80}, PrecipitationMM: {-0.01, 300}, SnowDepthM: {-0.01, 20},
}

// Absurd finds a value that no weather has.
func (s *Series) Absurd() (v Variable, hour int, found bool) {
	for v := range s.cols {
		bounds := likely[Variable(v)]
		for i, x := range s.cols[v] {
			if x < bounds[0] || x > bounds[1] {
				return Variable(v), i, true
			}
		}
	}
	return 0, 0, false
}

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

// Upside says why days from a moment can't be true, "" where they can: from the low of a
// day to its high it is too far, or for days together the end of the night is warmer than
// the afternoon, which cold fronts do once and not day after day.
func (s *Series) Upside(place Place, from time.Time) string {
	if math.IsNaN(place.LongitudeDeg) {
		return ""
	}
	var widths []float64
	nights, afternoons, days := 0.0, 0.0, 0
	begin := s.Index(from) + 1
	for ; begin+24 <= s.Hours(); begin += 24 {
		low, high := math.Inf(1), math.Inf(-1)
		var night, afternoon []float64
		for i := max(begin, 0); i < begin+24; i++ {
			t := s.At(TemperatureC, i)
			if math.IsNaN(t) {
				continue
			}
			low, high = min(low, t), max(high, t)
			switch solar := math.Mod(float64(s.Time(i).Hour())+place.LongitudeDeg/15+24, 24); {
			case math.Abs(solar-LowSolarHour) <= 1.5:
				night = append(night, t)
			case math.Abs(solar-HighSolarHour) <= 1.5:
				afternoon = append(afternoon, t)
			}
		}
		if len(night) == 0 || len(afternoon) == 0 {
			continue
		}
		nights, afternoons, days = nights+Median(night), afternoons+Median(afternoon), days+1
		widths = append(widths, high-low)
	}
	if len(widths) > 1 && Median(widths) > widestK {
		return fmt.Sprintf("from the low of a day to its high it is %.0f K: another unit", Median(widths))
	}
	if days >= upsideDays && nights-afternoons > upsideK*float64(days) {
		return fmt.Sprintf("its nights are %.0f K warmer than its afternoons for %d days: hours of another zone",
			(nights-afternoons)/float64(days), days)
	}
	return ""
}

// smooth takes out single hours that lie far from both beside them (at the ends, from the
// two that are next), to the same side:
// weather changes as much in an hour, and is not back in the next.
func (s *Series) smooth() {
	col := s.cols[TemperatureC]
	if len(col) < 3 {
		return
	}
	var spikes []int
	for i, t := range col {
		beside, other := i-1, i+1
		if i == 0 {
			beside = 2
		} else if other == len(col) {
			other = i - 2
		}
		before, after := t-col[beside], t-col[other]
		if before > spikeK && after > spikeK || before < -spikeK && after < -spikeK {
			spikes = append(spikes, i)
		}
	}
	if len(spikes) == 0 {
		return
	}
	*s = s.Slice(0, s.Hours())
	for _, i := range spikes {
		s.Col(TemperatureC)[i], s.Col(DewPointC)[i] = math.NaN(), math.NaN()
	}
}

// Doubt takes out of a bulletin what can't be true beside its course: single hours that
// no weather has between the two beside them, members that
// lie far from it, each by itself or all together, what comes after days that no date has,
// and past hours that it can't follow from, or that lie far from
// what before, the bulletin before (nil for none), knew or predicted of them. Each is
// remarked; what was told before and lies as far is left out. It comes before
// anything is centred, which would hide it.
func (b *Bulletin) Doubt(place Place, now time.Time, before *Bulletin) {
	b.Earlier = slices.DeleteFunc(slices.Clone(b.Earlier), func(t Told) bool {
		d := Differences(&b.Course, &t.Course, now, now.Add(comparedHours*time.Hour))
		return len(d) < fewestSame || math.Abs(Median(d)) > jumpK
	})
	b.Course.smooth()
	b.cutLate(place, now)
	b.doubtEach(now)
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

// cutLate ends the course before days that the date does not have; the first two are
// judged by whoever asked for them.
func (b *Bulletin) cutLate(place Place, now time.Time) {
	for at := now.Add(comparedHours * time.Hour); b.Course.Index(at) < b.Course.Hours(); at = at.Add(24 * time.Hour) {
		if b.Course.Implausible(place, at, comparedHours) != "" {
			b.Course = b.Course.Slice(0, max(b.Course.Index(at), 0))
			return
		}
	}
}

// doubtEach leaves out the members that have what no weather has, or go their own way from
// the course further than weather does; where more than half do, all are left out and that
// is remarked.
func (b *Bulletin) doubtEach(now time.Time) {
	if len(b.Members) == 0 {
		return
	}
	var far []float64
	kept := make([]Series, 0, len(b.Members))
	for m := range b.Members {
		member := b.Members[m]
		member.smooth()
		off := member.farthest(&b.Course, now)
		_, _, absurd := member.Absurd()
		if absurd {
			off = 0 // of infinity, for one
		}
		if absurd || off != 0 {
			far = append(far, off)
			continue
		}
		kept = append(kept, member)
	}
	if 2*len(kept) < len(b.Members) {
		kept = nil
		remark := Remark{Kind: MembersAbsurd}
		if apart := Median(far); apart != 0 {
			remark = Remark{Kind: MembersDoubted, ByK: math.Round(apart)}
		}
		b.Remarks = append(b.Remarks, remark)
	}
	b.Members = kept
}

// farthest is how far a member lies from a course where that is further than weather goes,
// at the mean of two days; 0 where it is not.
func (s *Series) farthest(course *Series, now time.Time) float64 {
	own, of := s.cols[TemperatureC], course.cols[TemperatureC]
	most, apart := jumpK, course.Index(s.Start())
	for from := s.Index(now); from < len(own); from += comparedHours {
		sum, n := 0.0, 0
		for i := max(from, -apart, 0); i < min(from+comparedHours, len(own), len(of)-apart); i++ {
			if d := own[i] - of[i+apart]; !math.IsNaN(d) {
				sum, n = sum+d, n+1
			}
		}
		if n >= fewestSame && math.Abs(sum) > most*float64(n) {
			return sum / float64(n)
		}
		most = laterK
	}
	return 0
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
		d := Differences(&b.Course, &before.Course, now.Add(-comparedHours*time.Hour), now)
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
