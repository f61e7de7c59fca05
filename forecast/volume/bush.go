package volume

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bush is what visits teach of one group: how much warmer its air is than where the
// weather is measured, its yield, the yield's trend, the spread of its days, and
// whether its keeper comes when there is a certain fill. It is exact on a grid of these.
type Bush struct {
	offsets []float64 // K, of the nodes
	states  []bushState
	weight  []float64 // of each state, summing to one
	Visits  int
}

type bushState struct {
	node          int     // index into the offsets
	logYield      float64 // at the season's reference day
	trend, spread float64 // a month; of one day's error
	fill          int     // index into fills
}

// fill is why a keeper comes: at a volume that is log-normal around so many litres a tap.
// The first of fills is no reason: a keeper who comes by the clock.
type fill struct{ logL, spread, prior float64 }

var fills = []fill{
	{prior: 0.4},
	{math.Log(2.5 + smallL), 0.5, 0.15},
	{math.Log(4 + smallL), 0.5, 0.3},
	{math.Log(6.5 + smallL), 0.5, 0.15},
}

// The error of a day has a narrow and a wide part, which together are about as
// heavy-tailed as Student's t of five degrees of freedom.
var errorParts = []struct{ share, width float64 }{{0.85, 0.9}, {0.15, 2}}

// OffsetNodes are the offsets in K that are followed side by side.
var OffsetNodes = []float64{-2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2}

// BucketSeasonL is what a tap with a pail gives in a usual season, litres: six seasons in
// Wisconsin (a maker's public diary) gave 22 to 31.5, one in Massachusetts 34.5
// (landssake.org), and three on a hill there 51, 19 and 20 (CC0, Baumer et al.).
const BucketSeasonL = 30.0

// BushPrior is the belief of a bush before any record: as Prior, with the seasons of
// buckets that were written down in place of handbooks. By a flow fitted on them the log
// yields of hill 2013, 2014 and Wisconsin 2015, 2020 are -0.47, -0.83, -0.72 and -0.60;
// this says -0.67.
func BushPrior(m Method) Belief {
	b := Prior(m)
	b.LogMean += math.Log(BucketSeasonL / handbookSeasonL)
	return b
}

// NewBush holds a belief and a normal prior of the offset in K against no visit yet.
func NewBush(b Belief, offsets []float64, offsetMean, offsetSD float64) *Bush {
	p := &Bush{offsets: offsets}
	const yields, spreads, trends = 17, 5, 3
	for node, k := range offsets {
		z := (k - offsetMean) / offsetSD
		for i := range yields {
			zy := 6 * (float64(i)/(yields-1) - 0.5)
			for t := range trends {
				for j := range spreads {
					zs := 5 * (float64(j)/(spreads-1) - 0.5)
					zt := 1.2247 * float64(t-1) // with weights 1 4 1 a standard normal's variance is kept
					log := -(z*z + zy*zy + zs*zs) / 2
					w := math.Exp(log)
					if t != 1 {
						w *= 0.5
					}
					for f := range fills {
						p.states = append(p.states, bushState{node, b.LogMean + zy*b.LogSD, zt * trendLog * 1.1547, b.DayLogSD * math.Exp(zs*spreadLog), f})
						p.weight = append(p.weight, w*fills[f].prior)
					}
				}
			}
		}
	}
	p.normalise()
	return p
}

func (p *Bush) normalise() {
	sum := 0.0
	for _, w := range p.weight {
		sum += w
	}
	for i := range p.weight {
		p.weight[i] /= sum
	}
}

// foretold is a mixture of normals of log(litres a tap + smallL).
type foretold struct{ share, mean, sd [2]float64 }

// ran is what ran by the yield of a state, as log(litres a tap + smallL).
func ran(s *bushState, v *Visit) float64 {
	return math.Log(v.ExpectedL/float64(v.Taps)*math.Exp(s.logYield+s.trend*v.Months) + smallL)
}

// foretell is what a state expects of a visit: what ran, and that the keeper came for it.
func foretell(s *bushState, v *Visit, m float64) foretold {
	scale := s.spread * visitShare(v.Days)
	var out foretold
	sum := 0.0
	for k, part := range errorParts {
		sd := scale * part.width
		out.share[k], out.mean[k], out.sd[k] = part.share, m, sd
		if s.fill > 0 {
			f := &fills[s.fill]
			a, b := 1/(sd*sd), 1/(f.spread*f.spread)
			out.share[k] *= normal(m, f.logL, math.Hypot(sd, f.spread))
			out.mean[k], out.sd[k] = (a*m+b*f.logL)/(a+b), 1/math.Sqrt(a+b)
		}
		sum += out.share[k]
	}
	if sum < 1e-300 { // beyond all doubt: as the wide part would have it
		out.share = [2]float64{0, 1}
		return out
	}
	for k := range out.share {
		out.share[k] /= sum
	}
	return out
}

func normal(x, mean, sd float64) float64 {
	z := (x - mean) / sd
	return math.Exp(-z*z/2) / sd / math.Sqrt(2*math.Pi)
}

// Learn takes in a visit, which holds what each node expects of it.
func (p *Bush) Learn(nodes []Visit) error {
	if len(nodes) != len(p.offsets) {
		return errors.New("a visit needs to be told for each offset")
	}
	v := &nodes[0]
	if v.Taps <= 0 || !(v.ObservedL >= 0) {
		return fmt.Errorf("a visit of %g L from %d taps cannot be learnt from", v.ObservedL, v.Taps)
	}
	u := math.Log(v.ObservedL/float64(v.Taps) + smallL)
	m := 0.0
	for i := range p.states {
		s := &p.states[i]
		if before := &p.states[max(i-1, 0)]; i == 0 || s.node != before.node || s.logYield != before.logYield || s.trend != before.trend {
			m = ran(s, &nodes[s.node])
		}
		f := foretell(s, &nodes[s.node], m)
		like := 1e-12
		for k := range f.share {
			switch {
			case v.AtLeast:
				like += f.share[k] * (1 - distuv.UnitNormal.CDF((u-f.mean[k])/f.sd[k]))
			case v.ObservedL == 0:
				like += f.share[k] * distuv.UnitNormal.CDF((u-f.mean[k])/f.sd[k])
			default:
				like += f.share[k] * normal(u, f.mean[k], f.sd[k])
			}
		}
		p.weight[i] *= like
	}
	p.normalise()
	p.Visits++
	return nil
}

// Collect draws count volumes in litres that a visit may bring, sorted. capacityL is what
// the containers hold, 0 if that is not known.
func (p *Bush) Collect(nodes []Visit, capacityL float64, count int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 0x62757368))
	taps := float64(nodes[0].Taps)
	const each = 4
	all := make([]float64, 0, count*each)
	i, upTo := 0, p.weight[0]
	ranks := rng.Perm(count * each)
	for n := range count * each {
		at := (float64(n) + 0.5) / float64(count*each)
		for upTo < at && i < len(p.weight)-1 {
			i++
			upTo += p.weight[i]
		}
		s := &p.states[i]
		f := foretell(s, &nodes[s.node], ran(s, &nodes[s.node]))
		k := 0
		if rng.Float64() > f.share[0] {
			k = 1
		}
		z := distuv.UnitNormal.Quantile((float64(ranks[n]) + 0.5) / float64(count*each))
		litres := max(math.Exp(f.mean[k]+f.sd[k]*z)-smallL, 0) * taps
		if capacityL > 0 {
			litres = min(litres, capacityL)
		}
		all = append(all, litres)
	}
	slices.Sort(all)
	out := make([]float64, count)
	for i := range out {
		out[i] = all[i*each+each/2]
	}
	return out
}

// Offset is the mean and the standard deviation of what the bush is warmer by, K.
func (p *Bush) Offset() (mean, sd float64) {
	for i, s := range p.states {
		mean += p.weight[i] * p.offsets[s.node]
	}
	for i, s := range p.states {
		sd += p.weight[i] * square(p.offsets[s.node]-mean)
	}
	return mean, math.Sqrt(sd)
}
