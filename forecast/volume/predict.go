package volume

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Collect draws count volumes in litres that a visit may bring, sorted: its
// ObservedL does not count. capacityL is what the containers hold, 0 if that is
// not known.
func (p *Posterior) Collect(v Visit, capacityL float64, count int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 0x636f6c6c656374))
	little := smallL * float64(v.Taps)
	normal := make([]float64, p.dim)
	out := make([]float64, count)
	ranks := rng.Perm(count)
	for i := range out {
		for k := range normal {
			normal[k] = rng.NormFloat64()
		}
		d := p.Draw(normal)
		// The visit's own error is the widest part: spread it evenly.
		t := distuv.StudentsT{Sigma: 1, Nu: tailDegree}.Quantile((float64(ranks[i]) + 0.5) / float64(count))
		expected := v.ExpectedL * math.Exp(d.LogYield[v.Group]+d.Trend*v.Months)
		out[i] = max((expected+little)*math.Exp(d.Spread*visitShare(v.Days)*t)-little, 0)
		if capacityL > 0 {
			out[i] = min(out[i], capacityL)
		}
	}
	slices.Sort(out)
	return out
}
