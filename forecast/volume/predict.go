package volume

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/parallel"
)

// draw turns standard normal numbers into one set of parameters of a part.
func (p *part) draw(x []float64) { p.root.draw(p.mean, x) }

// collectEach is how many volumes are drawn for one that is told.
const collectEach = 4

// Collect draws count volumes in litres that a visit may bring, sorted: its
// ObservedL does not count. The visit is told for each strand. capacityL is what the
// containers hold, 0 if that is not known.
func (b *Bush) Collect(strands []Visit, capacityL float64, count int, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 0x636f6c6c656374))
	taps := float64(strands[0].Taps)
	n := count * collectEach
	all := make([]float64, n)
	x := make([]float64, fixedParameters+len(b.know.Groups))
	ranks := rng.Perm(n)
	i, upTo := 0, b.parts[0].weight
	for d := range all {
		at := (float64(d) + 0.5) / float64(n)
		for upTo < at && i < len(b.parts)-1 {
			i++
			upTo += b.parts[i].weight
		}
		p := &b.parts[i]
		for k := range x {
			x[k] = rng.NormFloat64()
		}
		p.draw(x)
		v := &strands[p.strand]
		logYield := b.know.Groups[v.Group].LogMean + x[shared] + x[trend]*v.Months + x[fixedParameters+v.Group]
		m := math.Log(v.ExpectedL/taps*math.Exp(logYield) + smallL)
		f := foretell(&fills[p.fill], m, math.Exp(x[logSpread])*visitShare(v.Days))
		k := 0
		if rng.Float64() > f.share[0] {
			k = 1
		}
		// The visit's own error is the widest part: spread it evenly.
		z := distuv.UnitNormal.Quantile((float64(ranks[d]) + 0.5) / float64(n))
		all[d] = max(math.Exp(f.mean[k]+f.sd[k]*z)-smallL, 0) * taps
		if capacityL > 0 {
			all[d] = min(all[d], capacityL)
		}
	}
	slices.Sort(all)
	out := make([]float64, count)
	for i := range out {
		out[i] = all[i*collectEach+collectEach/2]
	}
	return out
}

// Strands draws one strand for each of count members, spread evenly over what is held of
// them.
func (b *Bush) Strands(count int, seed uint64) []int {
	rng := rand.New(rand.NewPCG(seed, 0x737472616e6473))
	out := make([]int, count)
	weights := b.Weights()
	i, upTo := 0, weights[0]
	for n, at := range rng.Perm(count) {
		for upTo < (float64(n)+0.5)/float64(count) && i < len(weights)-1 {
			i++
			upTo += weights[i]
		}
		out[at] = i
	}
	return out
}

// Factors draws yields of all groups for coming days, each times for each member, whose
// strands are given: by group, draw and day. months holds how long after the season's
// reference day each day comes. Groups share the luck of a draw: trees of one bush do
// well and badly together. The draws are spread evenly over what is shared, so that few
// give a steady answer.
func (b *Bush) Factors(strands []int, each int, months []float64, seed uint64) [][][]float64 {
	rng := rand.New(rand.NewPCG(seed, 0x766f6c756d65))
	count, dim, days := len(strands)*each, fixedParameters+len(b.know.Groups), len(months)
	all, lucks := make([]float64, count*dim), make([]float64, count*days) // by draw
	for i, k := range rng.Perm(count) {
		p, x, luck := b.partOf(strands[i/each], rng.Float64()), all[i*dim:(i+1)*dim], lucks[i*days:(i+1)*days]
		for n := range x {
			x[n] = rng.NormFloat64()
		}
		x[shared] = distuv.UnitNormal.Quantile((float64(k) + 0.5) / float64(count))
		p.draw(x)
		spread := math.Exp(x[logSpread])
		for day, m := range months {
			luck[day] = spread*rng.NormFloat64() + x[trend]*m
		}
	}
	factors := make([][][]float64, len(b.know.Groups))
	parallel.Each(len(factors), func(_, g int) {
		rows := make([]float64, count*days)
		factors[g] = make([][]float64, count)
		for i := range factors[g] {
			x, row := all[i*dim:(i+1)*dim], rows[i*days:(i+1)*days]
			log := b.know.Groups[g].LogMean + x[shared] + x[fixedParameters+g]
			for day, luck := range lucks[i*days : (i+1)*days] {
				row[day] = math.Exp(log + luck)
			}
			factors[g][i] = row
		}
	})
	return factors
}

// partOf is one of a strand's parts, drawn by their weights; any where the strand is out
// of the question.
func (b *Bush) partOf(strand int, at float64) *part {
	sum, first := 0.0, -1
	for i := range b.parts {
		if b.parts[i].strand == strand {
			sum += b.parts[i].weight
			if first < 0 {
				first = i
			}
		}
	}
	if first < 0 {
		return &b.parts[min(int(at*float64(len(b.parts))), len(b.parts)-1)]
	}
	at *= sum
	last := first
	for i := first; i < len(b.parts); i++ {
		if p := &b.parts[i]; p.strand == strand {
			last = i
			if at -= p.weight; at <= 0 {
				break
			}
		}
	}
	return &b.parts[last]
}
