package forecast

import (
	"math"
	"slices"
)

// quantiles returns the tenth, the half and nine tenths, rounded for people;
// values may be in any order and are not changed.
func quantiles(values []float64) Range {
	if len(values) == 0 {
		return Range{}
	}
	var space [128]float64 // enough for most, without asking for more
	sorted := append(space[:0], values...)
	slices.Sort(sorted)
	at := func(q float64) float64 {
		x := q * float64(len(sorted)-1)
		i := int(x)
		if i+1 >= len(sorted) {
			return sorted[i]
		}
		return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
	}
	return Range{round(at(0.1), 2), round(at(0.5), 2), round(at(0.9), 2)}
}

var powersOfTen = [...]float64{1, 10, 100, 1000, 10000}

// round rounds to so many digits behind the point, at most four.
func round(x float64, digits int) float64 {
	p := powersOfTen[digits]
	return math.Round(x*p) / p
}
