package chart

import "math"

// scale maps values to pixels in a straight line.
type scale struct{ from, to, pixelFrom, pixelTo float64 }

func (s scale) at(v float64) float64 {
	return s.pixelFrom + (v-s.from)/(s.to-s.from)*(s.pixelTo-s.pixelFrom)
}

// ticks are round values between the ends, about count of them.
func (s scale) ticks(count int) []float64 {
	raw := (s.to - s.from) / float64(max(count, 1))
	unit := math.Pow(10, math.Floor(math.Log10(raw)))
	step := unit
	for _, f := range []float64{1, 2, 5, 10} {
		if step = f * unit; step >= 0.9*raw {
			break
		}
	}
	var out []float64
	for v := math.Ceil(s.from/step) * step; v <= s.to+step/1e6; v += step {
		tick := math.Round(v/step) * step
		if tick == 0 {
			tick = 0 // not -0
		}
		out = append(out, tick)
	}
	return out
}
