package volume

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Bush is what is known of a bush after some visits: how much warmer its air is than that
// of the forecast, its groups' yields and their trend, the spread of its days, and
// whether its keeper comes when there is a certain fill. The weather was followed along
// several strands, each with an offset of its own; under each strand and each reason for
// a visit the rest is a normal law, weighed by how well it tells what came.
type Bush struct {
	know    Knowledge
	offsets []float64 // K, of the strands
	parts   []part
	Visits  int
}

// leastWeight is that of a part below which it is left out.
const leastWeight = 1e-5

// Learn updates what is held of groups by their visits. offsets are those of the strands
// in K, and each visit is told for each of them, in their order. Visits of
// which nothing can be told, without flow or volume, must be left out.
func Learn(know Knowledge, offsets []float64, visits [][]Visit) (*Bush, error) {
	if len(know.Groups) == 0 || len(offsets) == 0 {
		return nil, errors.New("no group of taps to learn about")
	}
	for i, strands := range visits {
		if len(strands) != len(offsets) {
			return nil, fmt.Errorf("visit %d is told for %d offsets, not for %d", i+1, len(strands), len(offsets))
		}
		for _, v := range strands {
			if v.Group < 0 || v.Group >= len(know.Groups) || v.Taps <= 0 || !(v.ExpectedL >= 0) || !(v.ObservedL >= 0) {
				return nil, fmt.Errorf("visit %d cannot be learnt from: %+v", i+1, v)
			}
		}
	}
	b := &Bush{know: know, offsets: offsets, Visits: len(visits)}
	t := fitter{know: &b.know, sharedSD: math.Sqrt(max(square(know.Groups[0].LogSD)-ownLog*ownLog, 0.01)),
		dim: fixedParameters + len(know.Groups)}
	prior := make([]float64, t.dim)
	prior[logSpread] = math.Log(know.Groups[0].DayLogSD)
	if len(visits) == 0 {
		b.untaught(&t, prior)
		return b, nil
	}
	evidence := b.fitAll(&t, visits, prior)
	most := slices.Max(evidence)
	for i := range b.parts {
		b.parts[i].weight = math.Exp(evidence[i] - most)
	}
	b.normalise()
	return b, nil
}

// untaught fills in what is held before any visit: the same under each strand.
func (b *Bush) untaught(t *fitter, prior []float64) {
	t.f = &fills[0]
	p, _ := t.fit(prior)
	for strand, k := range b.offsets {
		z := (k - b.know.OffsetK) / b.know.OffsetSDK
		for f := range fills {
			p.strand, p.fill, p.weight = strand, f, math.Exp(-z*z/2)*b.know.Habit[f]
			b.parts = append(b.parts, p)
		}
	}
	b.normalise()
}

// normalise makes the weights sum to one, and leaves out parts that weigh next to nothing.
func (b *Bush) normalise() {
	sum := 0.0
	for i := range b.parts {
		sum += b.parts[i].weight
	}
	least := leastWeight * sum
	b.parts = slices.DeleteFunc(b.parts, func(p part) bool { return p.weight < least })
	sum = 0
	for i := range b.parts {
		sum += b.parts[i].weight
	}
	for i := range b.parts {
		b.parts[i].weight /= sum
	}
}

// DripLH is the flow of a usual tap, litres an hour, at which one in two would say that it
// drips.
const DripLH = 0.02

// What is seen at a tap says whether it drips: from a few drops a minute on, about, and
// now and then it is written down wrongly.
const (
	dripLog     = 1.0 // how far the bound is blurred, as a logarithm: a logistic law's scale
	dripLittleL = 0.002
	dripWrong   = 0.05
)

// DripChance is how likely somebody says "dripping" of taps whose usual flow is so many
// litres an hour.
func DripChance(litresHour float64) float64 {
	z := math.Log((litresHour+dripLittleL)/(DripLH+dripLittleL)) / dripLog
	return dripWrong + (1-2*dripWrong)/(1+math.Exp(-z))
}

// Hear takes in that somebody saw taps dripping, or not. litresHour is the flow of a
// usual tap then along each strand.
func (b *Bush) Hear(litresHour []float64, dripping bool) error {
	if len(litresHour) != len(b.offsets) {
		return fmt.Errorf("a note is told for %d offsets, not for %d", len(litresHour), len(b.offsets))
	}
	chances := make([]float64, len(litresHour))
	for n, flow := range litresHour {
		if chances[n] = DripChance(flow); !dripping {
			chances[n] = 1 - chances[n]
		}
	}
	return b.Believe(chances)
}

// Believe takes in something else that was seen; chances are how likely it is along each
// strand.
func (b *Bush) Believe(chances []float64) error {
	if len(chances) != len(b.offsets) {
		return fmt.Errorf("what was seen is told for %d offsets, not for %d", len(chances), len(b.offsets))
	}
	for i := range b.parts {
		b.parts[i].weight *= chances[b.parts[i].strand]
	}
	b.normalise()
	return nil
}

// moments are mean and standard deviation of something of which each part knows mean and
// variance.
func (b *Bush) moments(of func(p *part) (mean, variance float64)) (mean, sd float64) {
	squares := 0.0
	for i := range b.parts {
		m, v := of(&b.parts[i])
		mean += b.parts[i].weight * m
		squares += b.parts[i].weight * (m*m + v)
	}
	return mean, math.Sqrt(max(squares-mean*mean, 0))
}

// Offset is the mean and the standard deviation of what the bush is warmer by than the
// forecast, K.
func (b *Bush) Offset() (mean, sd float64) {
	return b.moments(func(p *part) (float64, float64) { return b.offsets[p.strand], 0 })
}

// OffsetRange is what holds the offset with a probability, in K: between strands it is
// taken to lie evenly.
func (b *Bush) OffsetRange(probability float64) (low, high float64) {
	weights := b.Weights()
	at := func(p float64) float64 {
		below := 0.0
		for i, w := range weights {
			if below+w >= p {
				half := 0.0 // to the middle of its neighbours
				if i+1 < len(weights) {
					half = (b.offsets[i+1] - b.offsets[i]) / 2
				} else if i > 0 {
					half = (b.offsets[i] - b.offsets[i-1]) / 2
				}
				return b.offsets[i] + half*(2*(p-below)/w-1)
			}
			below += w
		}
		return b.offsets[len(b.offsets)-1]
	}
	return at((1 - probability) / 2), at((1 + probability) / 2)
}

// Weights are how likely each strand is.
func (b *Bush) Weights() []float64 {
	out := make([]float64, len(b.offsets))
	for i := range b.parts {
		out[b.parts[i].strand] += b.parts[i].weight
	}
	return out
}

// LogYield is the mean log yield of a group at the reference day, and its standard
// deviation.
func (b *Bush) LogYield(group int) (mean, sd float64) {
	return b.moments(func(p *part) (float64, float64) { return b.logYield(p, group) })
}

func (b *Bush) logYield(p *part, group int) (mean, variance float64) {
	i := fixedParameters + group
	return b.know.Groups[group].LogMean + p.mean[shared] + p.mean[i],
		p.variance(shared, shared) + p.variance(i, i) + 2*p.variance(shared, i)
}

// StrandYield is the mean log yield of a group along one strand, that of all where the
// strand is out of the question.
func (b *Bush) StrandYield(strand, group int) float64 {
	sum, weight := 0.0, 0.0
	for i := range b.parts {
		if p := &b.parts[i]; p.strand == strand {
			m, _ := b.logYield(p, group)
			sum += p.weight * m
			weight += p.weight
		}
	}
	if weight == 0 {
		mean, _ := b.LogYield(group)
		return mean
	}
	return sum / weight
}

// Spread is the mean spread of a day's error, as a logarithm.
func (b *Bush) Spread() float64 {
	log, _ := b.moments(func(p *part) (float64, float64) { return p.mean[logSpread], 0 })
	return math.Exp(log)
}

// MeanYield is what a tap of a group gives for a usual tap's litre, in the mean of days.
func (b *Bush) MeanYield(group int) float64 {
	log, _ := b.LogYield(group)
	return math.Exp(log + b.Spread()*b.Spread()/2)
}

func square(x float64) float64 { return x * x }
