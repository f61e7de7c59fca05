package weather

import "math"

// MaxFillHours is the longest gap that is bridged: the step of a six-hourly
// forecast.
const MaxFillHours = 6

// FillGaps bridges gaps of at most MaxFillHours between two known values by a
// straight line, in every column but precipitation and short-wave radiation,
// where a straight line would invent rain or midday sun. It never extrapolates.
func (s *Series) FillGaps() {
	for v := range s.cols {
		if Variable(v) != PrecipitationMM && Variable(v) != ShortwaveWM2 && s.cols[v] != nil {
			fillLinear(s.cols[v], MaxFillHours)
		}
	}
}

// Bridge fills every gap of a column, however long, by a straight line, and
// both ends by the nearest value: for looking back, where the hours that were
// made up are known to the caller. It reports whether there was any value.
func (s *Series) Bridge(v Variable) bool {
	col := s.Col(v)
	fillLinear(col, len(col)+1)
	first, last := s.span(v)
	if first < 0 {
		return false
	}
	for i := range first {
		col[i] = col[first]
	}
	for i := last + 1; i < len(col); i++ {
		col[i] = col[last]
	}
	return true
}

// span is the first and the last hour with a value, -1 where there is none.
func (s *Series) span(v Variable) (first, last int) {
	first, last = -1, -1
	for i, x := range s.cols[v] {
		if !math.IsNaN(x) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	return first, last
}

func fillLinear(col []float64, limit int) {
	last := -1
	for i, x := range col {
		if math.IsNaN(x) {
			continue
		}
		if gap := i - last - 1; last >= 0 && gap > 0 && gap < limit {
			for j := 1; j <= gap; j++ {
				col[last+j] = col[last] + (x-col[last])*float64(j)/float64(gap+1)
			}
		}
		last = i
	}
}

// unbroken returns the hours [first, last) around hour at in which column v has
// no gap; first == last where at itself is a gap.
func (s *Series) unbroken(v Variable, at int) (first, last int) {
	first, last = at, at
	for !math.IsNaN(s.At(v, last)) {
		last++
	}
	if last == at {
		return at, at
	}
	for !math.IsNaN(s.At(v, first-1)) {
		first--
	}
	return first, last
}
