package verify

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/volume"
)

// What is held of a keeper's fills before any: about 4 L a tap, times or divided by 1.8
// (common practice), which weighs as much as one visit, and its spread as much as three.
const (
	usualFillL    = 4.0
	usualFillLog  = 0.588
	fillWeight    = 1.0
	fillFreedom   = 3.0
	littleFillL   = 0.1 // L a tap, added to each so that an empty pail has a logarithm
	mostFillSigma = 5.0 // beyond which no quantile is taken
)

// habitDraws is what a keeper would carry in by habit alone, litres: a log-normal fill of
// a tap learnt from the visits before, whatever the weather was.
func habitDraws(earlier []volume.Visit, v volume.Visit, count int) []float64 {
	sum, n := fillWeight*math.Log(usualFillL), fillWeight
	var fills []float64
	for i := range earlier {
		if e := &earlier[i]; e.Group == v.Group {
			fills = append(fills, math.Log(e.ObservedL/float64(e.Taps)+littleFillL))
			sum += fills[len(fills)-1]
			n++
		}
	}
	mean := sum / n
	squares := fillFreedom*usualFillLog*usualFillLog + fillWeight*(math.Log(usualFillL)-mean)*(math.Log(usualFillL)-mean)
	for _, f := range fills {
		squares += (f - mean) * (f - mean)
	}
	freedom := fillFreedom + float64(len(fills))
	next := distuv.StudentsT{Sigma: 1, Nu: freedom}
	sd := math.Sqrt(squares / freedom * (1 + 1/n))
	out := make([]float64, count)
	for i := range out {
		t := min(next.Quantile((float64(i)+0.5)/float64(count)), mostFillSigma)
		out[i] = max(math.Exp(mean+sd*t)-littleFillL, 0) * float64(v.Taps)
	}
	return out
}
