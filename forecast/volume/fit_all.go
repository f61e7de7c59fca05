package volume

import (
	"math"
	"sync/atomic"

	"thawline/forecast/parallel"
)

// Up to so many visits the most likely parameters are looked for from two sides; and a
// reason for visits that is so far behind another (the logarithm of its likelihood) is
// not tried along the next strand.
const (
	fewVisits = 40
	hopeless  = 15
)

// fitted is a part and the logarithm of its evidence.
type fitted struct {
	part     part
	evidence float64
}

// fitting is the search for the parts of a bush, from strand to strand.
type fitting struct {
	bush   *Bush
	shared *fitter
	visits [][]Visit
	prior  []float64
	clock  []chan fitted // of who comes by the clock, by strand
	enough atomic.Bool   // of those
}

// fitAll finds the parts, and the logarithm of the evidence of each. Who comes by the
// clock is fitted beside the other reasons for a visit, which start from there.
func (b *Bush) fitAll(t *fitter, visits [][]Visit, prior []float64) (evidence []float64) {
	f := &fitting{bush: b, shared: t, visits: visits, prior: prior, clock: make([]chan fitted, len(b.offsets))}
	for strand := range f.clock {
		f.clock[strand] = make(chan fitted, 1)
	}
	parallel.Together(f.byTheClock, func() { evidence = f.weigh() })
	return evidence
}

// along is a fitter of the visits as one strand sees them.
func (f *fitting) along(strand int) fitter {
	t := *f.shared
	t.seen = make([]observation, len(f.visits))
	for i := range f.visits {
		t.seen[i] = observe(&f.visits[i][strand])
	}
	return t
}

// second is from where else the parameters are looked for, nil for from nowhere.
func (f *fitting) second(first []float64) []float64 {
	if len(f.visits) > fewVisits && first != nil {
		return nil
	}
	return f.prior
}

func (f *fitting) byTheClock() {
	defer func() { // nobody waits for what a fault has kept from coming
		for _, c := range f.clock {
			close(c)
		}
	}()
	var start []float64
	for strand := range f.clock {
		if f.enough.Load() {
			break
		}
		t := f.along(strand)
		t.f = &fills[0]
		p, e := t.fit(start, f.second(start))
		start = p.mean
		f.clock[strand] <- fitted{p, e}
	}
}

// weigh fits the other reasons for a visit, and gathers the parts.
func (f *fitting) weigh() (evidence []float64) {
	know := &f.bush.know
	behind := make([]float64, len(fills)) // what each reason was behind the best by, one strand before
	var start []float64
	for strand, k := range f.bush.offsets {
		t := f.along(strand)
		z := (k - know.OffsetK) / know.OffsetSDK
		other, best := f.second(start), math.Inf(-1)
		first := len(evidence)
		for n := range fills {
			if know.Habit[n] <= 0 || behind[n] > hopeless {
				f.enough.Store(f.enough.Load() || n == 0)
				continue
			}
			var one fitted
			if n == 0 {
				one = <-f.clock[strand]
				start = one.part.mean
			} else {
				t.f = &fills[n]
				one.part, one.evidence = t.fit(start, other)
			}
			one.part.strand, one.part.fill = strand, n
			one.evidence += math.Log(know.Habit[n]) - z*z/2
			best = max(best, one.evidence)
			f.bush.parts, evidence = append(f.bush.parts, one.part), append(evidence, one.evidence)
			other = nil
		}
		for i := first; i < len(evidence); i++ {
			behind[f.bush.parts[i].fill] = best - evidence[i]
		}
	}
	return evidence
}
