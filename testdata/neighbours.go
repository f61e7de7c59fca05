package testdata

import (
	"math"
	"math/rand/v2"
)

// Neighbour is an invented bush of a neighbourhood.
type Neighbour struct {
	EastKM, NorthKM float64 // of the bush in the middle
	OffsetK         float64 // what its air is warmer by than the weather's at its place, always
	TodayK          float64 // what its air is warmer by than today's forecast, its offset apart
	Thermometer     bool    // it reads one; the others look at their taps
	Wrong           bool    // what it reports is wrong
}

// What a neighbourhood is invented by.
const (
	NeighbourCount   = 50
	neighbourKM      = 50.0 // all lie within it
	neighbourHalfKM  = 60.0 // at which forecasts err half as alike
	neighbourErrorK  = 1.5  // of today's forecast
	neighbourOwnK    = 1.0
	neighbourWrong   = 0.1
	neighbourThermal = 0.2
)

// Neighbours invents a day: the bush in the middle, then fifty within 50 km. Errors of the
// forecast are a normal field whose correlation falls by half in 60 km; the offsets are
// independent.
func Neighbours(seed uint64) []Neighbour {
	rng := rand.New(rand.NewPCG(1, seed))
	out := make([]Neighbour, NeighbourCount+1)
	for i := range out {
		if i > 0 {
			r, at := neighbourKM*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
			out[i].EastKM, out[i].NorthKM = r*math.Cos(at), r*math.Sin(at)
		}
		out[i].OffsetK = neighbourOwnK * rng.NormFloat64()
		out[i].Thermometer, out[i].Wrong = rng.Float64() < neighbourThermal, rng.Float64() < neighbourWrong
	}
	// A field of normal numbers by the factor of its covariance (Cholesky).
	lower := make([][]float64, len(out))
	for i := range out {
		lower[i] = make([]float64, i+1)
		z := rng.NormFloat64()
		for j := range i + 1 {
			sum := math.Exp2(-math.Hypot(out[i].EastKM-out[j].EastKM, out[i].NorthKM-out[j].NorthKM) / neighbourHalfKM)
			for k := range j {
				sum -= lower[i][k] * lower[j][k]
			}
			if i == j {
				lower[i][i] = math.Sqrt(max(sum, 1e-9))
			} else {
				lower[i][j] = sum / lower[j][j]
			}
		}
		out[i].TodayK = z // for now the number that is drawn
	}
	for i := len(out) - 1; i >= 0; i-- {
		sum := 0.0
		for k := range i + 1 {
			sum += lower[i][k] * out[k].TodayK
		}
		out[i].TodayK = neighbourErrorK * sum
	}
	return out
}
