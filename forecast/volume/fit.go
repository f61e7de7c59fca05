package volume

import "math"

// The parameters, before those of each group.
const (
	shared = iota
	trend
	logSpread
	fixedParameters
)

// part is the posterior under one strand and one reason for visits: a normal law of the
// parameters around the most likely ones (Laplace's approximation).
type part struct {
	strand, fill int
	weight       float64
	mean         []float64
	root         // of its covariance
}

// loss is the negative logarithm of the posterior density of one part, its slope and its
// curvature.
type loss struct {
	value  float64
	slope  []float64
	second arrow
	groups []groupSum
}

// fitter holds what the fits of all parts share.
type fitter struct {
	know     *Knowledge
	sharedSD float64
	seen     []observation
	f        *fill
	dim      int
}

func (t *fitter) loss(x []float64, out *loss) {
	out.value = 0
	clear(out.slope)
	out.second.clear()
	prior := func(i int, mean, sd float64) (curvature float64) {
		z := (x[i] - mean) / sd
		out.value += z*z/2 + math.Log(sd)
		out.slope[i] += z / sd
		return 1 / (sd * sd)
	}
	core := &out.second.core
	core[shared][shared] = prior(shared, 0, t.sharedSD)
	core[trend][trend] = prior(trend, 0, trendLog)
	core[logSpread][logSpread] = prior(logSpread, math.Log(t.know.Groups[0].DayLogSD), t.know.SpreadLogSD)
	for g := range t.know.Groups {
		out.second.own[g] = prior(fixedParameters+g, 0, t.know.ownSD(g))
	}
	clear(out.groups)
	spread, product := math.Exp(x[logSpread]), 1.0
	for i := range t.seen {
		o := &t.seen[i]
		l := o.like(t.f, t.know.Groups[o.group].LogMean+x[shared]+x[trend]*o.months+x[fixedParameters+o.group], spread, x[logSpread])
		if product *= l.density; product < 1e-200 || product > 1e200 {
			out.value -= math.Log(product)
			product = 1
		}
		out.groups[o.group].add(&l, o.months)
	}
	out.value -= math.Log(product)
	for g := range out.groups {
		out.take(g)
	}
}

// groupSum sums slopes and curvatures of a group's visits with its log yield, those with
// the trend by their months.
type groupSum struct{ x, xm, s, xx, xxm, xxmm, xs, xsm, ss float64 }

func (g *groupSum) add(l *surface, months float64) {
	g.x += l.x
	g.xm += l.x * months
	g.s += l.s
	g.xx += l.xx
	g.xxm += l.xx * months
	g.xxmm += l.xx * months * months
	g.xs += l.xs
	g.xsm += l.xs * months
	g.ss += l.ss
}

// take adds the visits of a group to a loss. What a group's own parameter does the shared
// one does too.
func (l *loss) take(group int) {
	g := &l.groups[group]
	core, edge := &l.second.core, &l.second.edge[group]
	l.slope[shared] -= g.x
	l.slope[trend] -= g.xm
	l.slope[logSpread] -= g.s
	l.slope[fixedParameters+group] -= g.x
	core[shared][shared] -= g.xx
	core[trend][shared] -= g.xxm
	core[trend][trend] -= g.xxmm
	core[logSpread][shared] -= g.xs
	core[logSpread][trend] -= g.xsm
	core[logSpread][logSpread] -= g.ss
	edge[shared] -= g.xx
	edge[trend] -= g.xxm
	edge[logSpread] -= g.xs
	l.second.own[group] -= g.xx
}

func (t *fitter) newLoss() *loss {
	groups := len(t.know.Groups)
	return &loss{slope: make([]float64, t.dim), second: newArrow(groups), groups: make([]groupSum, groups)}
}

// minimise walks from a start to the least loss by Newton's steps, shortened where they
// do not go down.
func (t *fitter) minimise(start []float64) (x []float64, at *loss) {
	x, at = append([]float64{}, start...), t.newLoss()
	t.loss(x, at)
	next, there := make([]float64, t.dim), t.newLoss()
	step, factored := make([]float64, t.dim), newFactored(len(t.know.Groups))
	damp := 0.0
	for range 60 {
		at.second.factor(damp, &factored)
		copy(step, at.slope)
		factored.solve(step)
		drop := 0.0
		for i := range x {
			step[i] = min(max(step[i], -0.7), 0.7)
			next[i] = x[i] - step[i]
			drop += step[i] * at.slope[i]
		}
		if drop < 1e-4 && damp == 0 {
			break
		}
		t.loss(next, there)
		if there.value > at.value+1e-9 || math.IsNaN(there.value) {
			damp = max(4*damp, 1)
			continue
		}
		x, next = next, x
		at, there = there, at
		if damp /= 4; damp < 0.1 {
			damp = 0
		}
	}
	return x, at
}

// fit finds one part, from the better of two starts, and the logarithm of its evidence.
func (t *fitter) fit(starts ...[]float64) (part, float64) {
	var p part
	var at *loss
	for _, start := range starts {
		if start == nil {
			continue
		}
		if x, l := t.minimise(start); at == nil || l.value < at.value-1e-6 {
			p.mean, at = x, l
		}
	}
	factored := newFactored(len(t.know.Groups))
	at.second.factor(0, &factored)
	p.root = factored.root()
	evidence := -at.value - factored.halfLogDet()
	for i := range t.seen {
		evidence += t.seen[i].reason(t.f)
	}
	p.mean[logSpread] += t.freedomUsed(&p) * p.variance(logSpread, logSpread)
	return p, evidence
}

// freedomUsed is how many parameters' worth of the visits went into fitting the
// yields and the trend: as with the n - 1 of a variance, the spread is too
// small by that. The spread's marginal mode lies that many times its variance
// above its joint one (Laplace's approximation of the rest).
func (t *fitter) freedomUsed(p *part) float64 {
	used := 1 - p.variance(shared, shared)/(t.sharedSD*t.sharedSD)
	used += 1 - p.variance(trend, trend)/(trendLog*trendLog)
	for g := range t.know.Groups {
		used += 1 - p.variance(fixedParameters+g, fixedParameters+g)/square(t.know.ownSD(g))
	}
	return max(used, 0)
}
