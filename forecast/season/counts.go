package season

import (
	"fmt"
	"math"
)

// count is one published way to count towards the opening of buds: progress
// that rises through the winter and reaches, in the days the buds open, much
// the same level each year.
type count struct {
	name, family string
	progress     func(w *winter, out []float64)
}

// The families, plainly named in reports.
const (
	heatFamily       = "heat from a fixed day"
	heatChillFamily  = "heat, less of it after more chilling"
	daylightFamily   = "heat weighted by day length"
	sequentialFamily = "heat once chilled"
	parallelFamily   = "heat and chilling together"
)

// counts lists the candidates. Their constants are those of the literature, a
// few steps around them where it leaves a range; none was searched for freely.
func counts() []count {
	var all []count
	for _, from := range []int{60, 70, 79,
		91} { // 1 to 31 March: sugar maple buds answer from about day 79 (leaf-out notes of Hubbard Brook)
		for _, base := range []float64{0, 2, 4} { // 4 °C: Richardson et al. 2006, from memory
			// A chilling day lowers the heat needed by up to 1.6 %: the slope of
			// F = a + b exp(c chill) near the 130 days of this winter (Cannell and
			// Smith 1983, Murray et al. 1989; from memory).
			for _, ease := range []float64{0, 0.004, 0.008, 0.012, 0.016} {
				all = append(all, easedHeat(from, base, ease))
			}
		}
	}
	// Chilling days and heat on one threshold from 1 December, as for sugar
	// maple across its range (Raulier and Bernier 2000; abstract).
	for _, base := range []float64{3, 5} {
		for _, ease := range []float64{0.008, 0.012, 0.016} {
			all = append(all, easedFromDecember(base, ease))
		}
	}
	for _, power := range []float64{5, 7, 9} { // photothermal units (Masle et al. 1989; Blümel and Chmielewski 2012; from memory)
		all = append(all, daylight(power))
	}
	for _, chill := range []float64{20, 30,
		40} { // units of the triangle below (Hänninen 1990, from memory), as many as this winter gives by February
		all = append(all, sequential(chill))
		all = append(all, parallel(chill))
	}
	return all
}

const chillAt = 130 // chilling days of a usual winter: the level is that of such a one

func easedHeat(from int, base, ease float64) count {
	c := count{
		name:   fmt.Sprintf("degree days above %g °C from day %d", base, from),
		family: heatFamily,
		progress: func(w *winter, out []float64) {
			const chilling = 5 // °C, mean of the day (Cannell and Smith 1983, from memory)
			sum, chilled := 0.0, 0
			heat := w.above(base)
			for i := range w.reach {
				if (w.low[i]+w.high[i])/2 < chilling {
					chilled++
				}
				if i >= firstOfYear+from-1 {
					sum += heat[i]
				}
				if out[i] = sum; sum > 0 && ease > 0 {
					out[i] *= math.Exp(ease * float64(chilled-chillAt))
				}
			}
		},
	}
	if ease > 0 {
		c.name += fmt.Sprintf(", %.1f %% less a chilling day", 100*ease)
		c.family = heatChillFamily
	}
	return c
}

func easedFromDecember(threshold, ease float64) count {
	return count{
		name: fmt.Sprintf("degree days above and chilling days below %g °C from 1 December, %.1f %% less a chilling day", threshold,
			100*ease),
		family: heatChillFamily,
		progress: func(w *winter, out []float64) {
			sum, chilled := 0.0, 0
			for i := range w.reach {
				if i >= 30 {
					sum += heatAbove(w.low[i], w.high[i], threshold)
					if (w.low[i]+w.high[i])/2 < threshold {
						chilled++
					}
				}
				out[i] = sum * math.Exp(ease*float64(chilled-chillAt))
			}
		},
	}
}

// sarvas is the forcing of a day's share at a temperature (Sarvas 1974; from
// memory).
func sarvas(c float64) float64 {
	if c <= 0 {
		return 0
	}
	return 28.4 / (1 + math.Exp(-0.185*(c-18.4)))
}

// chillTriangle is the chilling at a temperature (Hänninen 1990; from memory).
func chillTriangle(c float64) float64 {
	switch {
	case c <= -3.4 || c >= 10.4:
		return 0
	case c <= 5:
		return (c + 3.4) / 8.4
	}
	return (10.4 - c) / 5.4
}

func daylight(power float64) count {
	return count{
		name:   fmt.Sprintf("Sarvas forcing times day length to the power %g", power),
		family: daylightFamily,
		progress: func(w *winter, out []float64) {
			sum := 0.0
			weight := w.days.power(power)
			for i := range w.reach {
				if i >= firstOfYear {
					sum += w.forcing()[i] * weight[i]
				}
				out[i] = sum
			}
		},
	}
}

func sequential(need float64) count {
	return count{
		name:   fmt.Sprintf("Sarvas forcing once %g units are chilled", need),
		family: sequentialFamily,
		progress: func(w *winter, out []float64) {
			sum, chilled := 0.0, 0.0
			for i := range w.reach {
				if chilled >= need {
					sum += w.forcing()[i]
				}
				chilled += throughDay(w.low[i], w.high[i], chillTriangle)
				out[i] = sum
			}
		},
	}
}

// parallel lets forcing count from the start, but a tenth as much without
// chilling as with all of it.
func parallel(need float64) count {
	return count{
		name:   fmt.Sprintf("Sarvas forcing as %g units are chilled", need),
		family: parallelFamily,
		progress: func(w *winter, out []float64) {
			sum, chilled := 0.0, 0.0
			for i := range w.reach {
				chilled += throughDay(w.low[i], w.high[i], chillTriangle)
				sum += w.forcing()[i] * (0.1 + 0.9*min(chilled/need, 1))
				out[i] = sum
			}
		},
	}
}
