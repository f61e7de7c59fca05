package weather

import (
	"math"
	"slices"
	"strings"
	"time"
)

// MixedNames stands between the services of a mixed bulletin.
const MixedNames = " + "

// Mix is the mean of what several services, or one at several places, say of a
// place: by the hour, in equal parts, each carried there first (Bulletin.At).
// Members are those of the first that has some; they are centred on the mean later.
// Of bulletins that end early the last day's distance from the others fades, so that
// the mean takes no step. There must be one at least.
func Mix(of []Bulletin) Bulletin {
	out := of[0]
	out.Credits, out.Remarks, out.Earlier, out.Members = nil, nil, nil, nil
	courses := make([]Series, len(of))
	var names []string
	start, end, issued := of[0].Course.Start(), of[0].Course.End(), 0.0
	for i := range of {
		b := &of[i]
		courses[i] = b.Course
		if b.Course.Start().Before(start) {
			start = b.Course.Start()
		}
		if b.Course.End().After(end) {
			end = b.Course.End()
		}
		if len(out.Members) == 0 {
			out.Members = b.Members
		}
		if !slices.Contains(names, b.Source) {
			names = append(names, b.Source)
		}
		if b.FetchedAt.After(out.FetchedAt) {
			out.FetchedAt = b.FetchedAt
		}
		issued += b.IssuedAt.Sub(of[0].IssuedAt).Seconds() / float64(len(of))
		for _, c := range b.Credits {
			if !slices.Contains(out.Credits, c) {
				out.Credits = append(out.Credits, c)
			}
		}
		for _, r := range b.Remarks {
			if !slices.Contains(out.Remarks, r) {
				out.Remarks = append(out.Remarks, r)
			}
		}
	}
	out.Source = strings.Join(names, MixedNames)
	out.IssuedAt = of[0].IssuedAt.Add(time.Duration(issued * float64(time.Second)))
	out.Course = meanCourse(courses, start, end)
	return out
}

// At is the bulletin carried to a place's height, where both heights are known, with its
// gaps filled and its dew points told.
func (b *Bulletin) At(place Place) Bulletin {
	out := *b
	out.Members = nil
	for i := range b.Members {
		out.Members = append(out.Members, b.Members[i].Slice(0, b.Members[i].Hours()))
	}
	out.Course = b.Course.Slice(0, b.Course.Hours())
	out.Course.FillGaps()
	temperature, dew := out.Course.Col(TemperatureC), out.Course.Col(DewPointC)
	for i := range dew {
		if humidity := out.Course.At(RelativeHumidityPct, i); math.IsNaN(dew[i]) && !math.IsNaN(humidity) {
			dew[i] = DewPointFrom(temperature[i], humidity)
		}
	}
	if dz := b.ElevationM - place.ElevationM; math.Abs(dz) > 0 { // not where one is unknown
		out.ElevationM = place.ElevationM
		moveToHeight(&out.Course, b.ElevationM, place.ElevationM)
		for i := range out.Members {
			moveToHeight(&out.Members[i], b.ElevationM, place.ElevationM)
		}
	}
	return out
}

const fadeHours = 24.0

// meanCourse is the mean of courses, of each hour that one of them knows.
func meanCourse(courses []Series, start, end time.Time) Series {
	out := NewSeries(start, int(end.Sub(start).Hours()))
	shift := make([]int, len(courses))
	for c := range courses {
		shift[c] = courses[c].Index(start)
	}
	for _, v := range Variables() {
		if v == RelativeHumidityPct || !slices.ContainsFunc(courses, func(s Series) bool { return s.Has(v) }) {
			continue
		}
		col := out.Col(v)
		for i := range col {
			sum, n := 0.0, 0.0
			for c := range courses {
				if x := courses[c].At(v, i+shift[c]); !math.IsNaN(x) {
					sum, n = sum+x, n+1
				}
			}
			if n > 0 {
				col[i] = sum / n
			}
		}
	}
	fadeEnds(&out, courses, shift)
	temperature, dew, humidity := out.Col(TemperatureC), out.Col(DewPointC), out.Col(RelativeHumidityPct)
	for i := range dew {
		dew[i] = min(dew[i], temperature[i])
		humidity[i] = RelativeHumidityFrom(temperature[i], dew[i])
	}
	return out
}

// fadeEnds adds to a mean, where a course has ended before others, what that one made of
// it on its last day, less from hour to hour.
func fadeEnds(mean *Series, courses []Series, shift []int) {
	last := func(c int) int {
		for i := mean.Hours() - 1; i >= 0; i-- {
			if !math.IsNaN(courses[c].At(TemperatureC, i+shift[c])) {
				return i
			}
		}
		return -1
	}
	ends := make([]int, len(courses))
	for c := range courses {
		ends[c] = last(c)
	}
	longest := slices.Max(ends)
	for _, end := range slices.Compact(slices.Sorted(slices.Values(ends))) {
		if end < 0 || end == longest {
			continue
		}
		step, n := 0.0, 0.0 // of the mean, by those that end here
		for i := end - int(fadeHours) + 1; i <= end; i++ {
			with, without, all, left := 0.0, 0.0, 0.0, 0.0
			for c := range courses {
				x := courses[c].At(TemperatureC, i+shift[c])
				if math.IsNaN(x) || ends[c] < end {
					continue
				}
				with, all = with+x, all+1
				if ends[c] > end {
					without, left = without+x, left+1
				}
			}
			if left > 0 {
				step, n = step+with/all-without/left, n+1
			}
		}
		if n == 0 {
			continue
		}
		col := mean.Col(TemperatureC)
		for i := end + 1; i < len(col); i++ {
			col[i] += step / n * math.Exp(-float64(i-end)/fadeHours)
		}
	}
}
