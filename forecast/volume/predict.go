package volume

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

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
	errors := evenErrors(count)
	for i := range out {
		for k := range normal {
			normal[k] = rng.NormFloat64()
		}
		d := p.Draw(normal)
		// The visit's own error is the widest part: spread it evenly.
		t := errors[ranks[i]]
		expected := v.ExpectedL * math.Exp(d.LogYield[v.Group]+d.Trend*v.Months)
		out[i] = max((expected+little)*math.Exp(d.Spread*visitShare(v.Days)*t)-little, 0)
		if capacityL > 0 {
			out[i] = min(out[i], capacityL)
		}
	}
	slices.Sort(out)
	return out
}

var errorsByCount sync.Map // of float64 slices: they take long to work out

// evenErrors are count quantiles of the visits' error, evenly spread.
func evenErrors(count int) []float64 {
	if kept, ok := errorsByCount.Load(count); ok {
		return kept.([]float64)
	}
	out := make([]float64, count)
	for i := range out {
		out[i] = distuv.StudentsT{Sigma: 1, Nu: tailDegree}.Quantile((float64(i) + 0.5) / float64(count))
	}
	errorsByCount.Store(count, out)
	return out
}

// Factors draws yields of all groups for coming days: by group, draw and day.
// months holds how long after the season's reference day each day comes. Groups
// share the luck of a draw: trees of one bush do well and badly together. The
// draws are spread evenly over what is shared, so that few give a steady
// answer.
func (p *Posterior) Factors(count int, months []float64, seed uint64) [][][]float64 {
	rng := rand.New(rand.NewPCG(seed, 0x766f6c756d65))
	factors := make([][][]float64, len(p.priors))
	for g := range factors {
		factors[g] = make([][]float64, count)
	}
	normal := make([]float64, p.dim)
	for i, k := range rng.Perm(count) {
		for n := range normal {
			normal[n] = rng.NormFloat64()
		}
		normal[shared] = distuv.UnitNormal.Quantile((float64(k) + 0.5) / float64(count))
		d := p.Draw(normal)
		for g := range factors {
			factors[g][i] = make([]float64, len(months))
		}
		for day, m := range months {
			luck := d.Spread*rng.NormFloat64() + d.Trend*m
			for g := range factors {
				factors[g][i][day] = math.Exp(d.LogYield[g] + luck)
			}
		}
	}
	return factors
}

// MeanYield is what a tap of a group gives for a usual tap's litre, in the mean of days.
func (p *Posterior) MeanYield(group int) float64 {
	log, _ := p.LogYield(group)
	return math.Exp(log + p.Spread()*p.Spread()/2)
}
