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
