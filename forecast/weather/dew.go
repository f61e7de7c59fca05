package weather

import (
	"math"
	"math/rand/v2"
)

// dewError is how forecasts of the dew point err beside what goes with their error of
// the temperature. A verification of public forecasts for Memphis in March 2010 has a
// mean error of 2.81 °F for the dew point (memphisweather.blog, 4 April 2010), a standard
// deviation of 2.0 K if errors are normal; made members have 1.0 K of it at a day's lead.
// Ramp and memory as for the temperature.
var dewError = struct{ sdK, rampHours, memoryHr float64 }{sdK: 1.7, rampHours: 12, memoryHr: 48}

// DewErrors draws errors of the dew point that members made from one forecast lack, in
// kelvin by member and hour from now on. The first member has none, the others come in
// pairs of opposite ones, as ErrorMembers makes them.
func DewErrors(members, hours int, seed uint64) [][]float64 {
	rng := rand.New(rand.NewPCG(seed, 0x6465772d706f696e))
	keep := math.Exp(-1 / dewError.memoryHr)
	fresh := math.Sqrt(1 - keep*keep)
	out := make([][]float64, members)
	for m := range out {
		out[m] = make([]float64, hours)
		if m > 0 && m%2 == 0 {
			for h, k := range out[m-1] {
				out[m][h] = -k
			}
		}
		if m%2 == 0 {
			continue
		}
		x := rng.NormFloat64()
		for h := range out[m] {
			out[m][h] = dewError.sdK * math.Sqrt(min(float64(h+1)/dewError.rampHours, 1)) * x
			x = keep*x + fresh*rng.NormFloat64()
		}
	}
	return out
}
