// Package weather holds hourly weather as columns: what a place has seen, what
// is forecast for it, and how far the forecast may be wrong.
package weather

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Variable names one column of a Series. The unit is part of the name.
type Variable int

// The columns. A value at hour i belongs to the hour that begins at
// Start + i h: instants (temperature, dew point, humidity, pressure, wind,
// cloud, snow depth) are read at that moment, means and sums (short-wave
// radiation, precipitation) cover the hour that follows it.
const (
	TemperatureC Variable = iota
	DewPointC
	RelativeHumidityPct
	SurfacePressureHPa
	ShortwaveWM2
	CloudCoverPct
	WindSpeedMS
	PrecipitationMM
	SnowDepthM
	variables
)

var columnNames = [variables]string{
	"temperature_c", "dew_point_c", "relative_humidity_pct", "surface_pressure_hpa",
	"shortwave_w_m2", "cloud_cover_pct", "wind_speed_m_s", "precipitation_mm", "snow_depth_m",
}

// String returns the column's name as weather files spell it, such as
// "temperature_c".
func (v Variable) String() string {
	if v < 0 || v >= variables {
		return fmt.Sprintf("Variable(%d)", int(v))
	}
	return columnNames[v]
}

// Variables lists every column in file order.
func Variables() []Variable {
	all := make([]Variable, variables)
	for i := range all {
		all[i] = Variable(i)
	}
	return all
}

// Series is hourly weather at one place: equal-length columns on one hourly
// axis in UTC. NaN marks a gap; an absent column is one long gap.
type Series struct {
	start time.Time
	hours int
	cols  [variables][]float64
}

// NewSeries returns a series of gaps: the given number of hours from start,
// which is truncated to the whole UTC hour.
func NewSeries(start time.Time, hours int) Series {
	return Series{start: start.UTC().Truncate(time.Hour), hours: max(hours, 0)}
}

// Start is the UTC beginning of the first hour.
func (s *Series) Start() time.Time { return s.start }

// Hours is the length of every column.
func (s *Series) Hours() int { return s.hours }

// End is the UTC end of the last hour.
func (s *Series) End() time.Time { return s.Time(s.hours) }

// Time is the UTC beginning of hour i.
func (s *Series) Time(i int) time.Time { return s.start.Add(time.Duration(i) * time.Hour) }

// Index is the hour that contains t; it may lie outside [0, Hours).
func (s *Series) Index(t time.Time) int {
	return int(math.Floor(t.Sub(s.start).Hours()))
}

// Has reports whether column v holds at least one value.
func (s *Series) Has(v Variable) bool {
	for _, x := range s.cols[v] {
		if !math.IsNaN(x) {
			return true
		}
	}
	return false
}

// Given is a column for reading alone, nil where it is absent.
func (s *Series) Given(v Variable) []float64 { return s.cols[v] }

// Col returns column v for reading and writing, Hours values long. A column
// that was absent is made first, full of gaps.
func (s *Series) Col(v Variable) []float64 {
	if s.cols[v] == nil {
		col := make([]float64, s.hours)
		for i := range col {
			col[i] = math.NaN()
		}
		s.cols[v] = col
	}
	return s.cols[v]
}

// At returns the value of column v at hour i, NaN where it is a gap or i lies
// outside the series.
func (s *Series) At(v Variable, i int) float64 {
	if i < 0 || i >= s.hours || s.cols[v] == nil {
		return math.NaN()
	}
	return s.cols[v][i]
}

// Set writes one value and reports whether t lies within the series.
func (s *Series) Set(v Variable, t time.Time, value float64) bool {
	i := s.Index(t)
	if i < 0 || i >= s.hours {
		return false
	}
	s.Col(v)[i] = value
	return true
}

// Slice returns a copy of the hours from first up to, not including, last.
// Hours outside the series come back as gaps.
func (s *Series) Slice(first, last int) Series {
	out := NewSeries(s.Time(first), last-first)
	from, to := min(max(first, 0), s.hours), min(max(last, 0), s.hours) // the hours that there are
	for v := range s.cols {
		if s.cols[v] == nil {
			continue
		}
		if from == first && to == last && from < to {
			out.cols[v] = slices.Clone(s.cols[v][from:to])
		} else if col := out.Col(Variable(v)); from < to {
			copy(col[from-first:], s.cols[v][from:to])
		}
	}
	return out
}

// cut leaves the hours that begin in [from, to) of a series that is nobody else's.
func (s *Series) cut(from, to time.Time) {
	first, last := max(s.Index(from.Add(time.Hour-time.Nanosecond)), 0), min(s.Index(to.Add(time.Hour-time.Nanosecond)), s.hours)
	last = max(last, first)
	for v := range s.cols {
		if s.cols[v] != nil {
			s.cols[v] = s.cols[v][first:last:last]
		}
	}
	s.start, s.hours = s.Time(first), last-first
}

// Between returns a copy of the hours that begin in [from, to).
func (s *Series) Between(from, to time.Time) Series {
	return s.Slice(s.Index(from.Add(time.Hour-time.Nanosecond)), s.Index(to.Add(time.Hour-time.Nanosecond)))
}

// Overlay returns a series over the hours of both, in which a value of top
// stands before one of s, and one of s before a gap.
func (s *Series) Overlay(top *Series) Series {
	if s.hours == 0 {
		return top.Slice(0, top.hours)
	}
	if top.hours == 0 {
		return s.Slice(0, s.hours)
	}
	start, end := s.start, s.End()
	if top.start.Before(start) {
		start = top.start
	}
	if top.End().After(end) {
		end = top.End()
	}
	out := s.Slice(s.Index(start), s.Index(end))
	shift := top.Index(out.start)
	for v := range top.cols {
		if top.cols[v] == nil {
			continue
		}
		col := out.Col(Variable(v))
		for i := range col {
			if x := top.At(Variable(v), i+shift); !math.IsNaN(x) {
				col[i] = x
			}
		}
	}
	return out
}

// Extremes are the lowest and the highest temperature of the hours in [from, to), and how
// many of them are known; NaN where none is.
func (s *Series) Extremes(from, to time.Time) (low, high, known float64) {
	low, high = math.NaN(), math.NaN()
	for i := s.Index(from); i < s.Index(to); i++ {
		t := s.At(TemperatureC, i)
		if math.IsNaN(t) {
			continue
		}
		if known++; known == 1 || t < low {
			low = t
		}
		if known == 1 || t > high {
			high = t
		}
	}
	return low, high, known
}
