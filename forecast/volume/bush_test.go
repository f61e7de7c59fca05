package volume

import (
	"math"
	"math/rand/v2"
	"testing"
)

// invented is a bush whose taps run by a course of its own for each offset, and whose
// keeper comes each day or when there are about four litres a tap.
var inventedOffsets = []float64{-2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2}

type invented struct {
	node  int
	yield float64
	days  [][]float64 // by node, L a tap
}

func inventBush(rng *rand.Rand) *invented {
	b := &invented{node: rng.IntN(len(inventedOffsets)), yield: math.Exp(0.3 * rng.NormFloat64())}
	for range inventedOffsets {
		b.days = append(b.days, make([]float64, 40))
	}
	for d := range 40 {
		low := 2.5 * rng.NormFloat64() // an offset moves it across the freezing point
		for n, k := range inventedOffsets {
			b.days[n][d] = 3 * math.Exp(-(low+k)*(low+k)/2)
		}
	}
	return b
}

// visits are what the keeper carried in, with what each node expects.
func (b *invented) visits(rng *rand.Rand, fill float64) [][]Visit {
	var out [][]Visit
	since, held := 0, 0.0
	at := fill * math.Exp(0.5*rng.NormFloat64())
	for d := range 40 {
		held += b.days[b.node][d] * b.yield * math.Exp(0.5*rng.NormFloat64())
		if held < at {
			continue
		}
		var nodes []Visit
		for n := range inventedOffsets {
			v := Visit{Months: float64(d) / 30, Taps: 10, Days: float64(d + 1 - since), ObservedL: 10 * held}
			for _, q := range b.days[n][since : d+1] {
				v.ExpectedL += 10 * q
			}
			nodes = append(nodes, v)
		}
		out = append(out, nodes)
		since, held, at = d+1, 0, fill*math.Exp(0.5*rng.NormFloat64())
	}
	return out
}

// Visits teach the offset, and what is told of visits holds about as often as it should,
// for those who come by the clock and for those who come when pails are full.
func TestBushIsLearntFromVisits(t *testing.T) {
	for name, c := range map[string]struct {
		fill   float64
		bushes int
	}{"daily": {0, 4}, "by the fill": {4, 24}} {
		rng := rand.New(rand.NewPCG(3, 4))
		before, after, in, n, held := 0.0, 0.0, 0.0, 0.0, 0.0
		for range c.bushes {
			truth := inventBush(rng)
			know := Unknown(Belief{DayLogSD: 0.5, LogSD: 0.4})
			visits := truth.visits(rng, c.fill)
			for i, nodes := range visits {
				p, err := Learn(know, inventedOffsets, visits[:i])
				if err != nil {
					t.Fatal(err)
				}
				draws := p.Collect(nodes, 0, 100, uint64(i))
				if x := nodes[0].ObservedL; draws[10] <= x && x <= draws[89] {
					in++
				}
				n++
			}
			p, err := Learn(know, inventedOffsets, visits)
			if err != nil {
				t.Fatal(err)
			}
			mean, sd := p.Offset()
			k := inventedOffsets[truth.node]
			before += k * k / float64(c.bushes)
			after += (mean - k) * (mean - k) / float64(c.bushes)
			if math.Abs(mean-k) < 1.2816*max(sd, 0.25) {
				held += 1 / float64(c.bushes)
			}
		}
		t.Logf("%s: offset errs by %.2f K, by %.2f without visits; it holds in %.2f; %.2f of %.0f visits in range", name,
			math.Sqrt(after), math.Sqrt(before), held, in/n, n)
		if after > 0.6*before || in/n < 0.72 || in/n > 0.92 || held < 0.5 {
			t.Errorf("%s: offset %.2f K, holds %.2f, range %.2f", name, math.Sqrt(after), held, in/n)
		}
	}
}

// A visit that says nothing is refused, and without any the offset is as it was held.
func TestBushRefusesEmptyVisits(t *testing.T) {
	know := Unknown(Prior(Pail))
	if _, err := Learn(know, inventedOffsets, [][]Visit{make([]Visit, len(inventedOffsets))}); err == nil {
		t.Error("a visit of no taps taught")
	}
	if _, err := Learn(know, inventedOffsets, [][]Visit{{{Taps: 10, ExpectedL: 5, ObservedL: 5, Days: 1}}}); err == nil {
		t.Error("a visit for one offset taught nine")
	}
	p, err := Learn(know, inventedOffsets, nil)
	if err != nil {
		t.Fatal(err)
	}
	if mean, sd := p.Offset(); math.Abs(mean) > 1e-9 || sd < 0.9 || sd > 1.05 {
		t.Errorf("before any visit the offset is %.2f ± %.2f K", mean, sd)
	}
}
