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
	lower        triangle // the Cholesky factor of its covariance
	cov          []float64
}

func (p *part) variance(i, j int) float64 { return p.cov[i*len(p.mean)+j] }

// loss is the negative logarithm of the posterior density of one part, its slope and its
// curvature.
type loss struct {
	value  float64
	slope  []float64
	second []float64 // dim × dim
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
	clear(out.second)
	prior := func(i int, mean, sd float64) {
		z := (x[i] - mean) / sd
		out.value += z*z/2 + math.Log(sd)
		out.slope[i] += z / sd
		out.second[i*t.dim+i] += 1 / (sd * sd)
	}
	prior(shared, 0, t.sharedSD)
	prior(trend, 0, trendLog)
	prior(logSpread, math.Log(t.know.Groups[0].DayLogSD), t.know.SpreadLogSD)
	for g := range t.know.Groups {
		prior(fixedParameters+g, 0, t.know.ownSD(g))
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
		t.take(&out.groups[g], fixedParameters+g, out)
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

// take adds the visits of a group, whose own parameter is given, to a loss.
func (t *fitter) take(g *groupSum, own int, out *loss) {
	index := [3]int{shared, trend, own}
	slope, cross := [3]float64{g.x, g.xm, g.x}, [3]float64{g.xs, g.xsm, g.xs}
	second := [3][3]float64{{g.xx, g.xxm, g.xx}, {g.xxm, g.xxmm, g.xxm}, {g.xx, g.xxm, g.xx}}
	for a, i := range index {
		out.slope[i] -= slope[a]
		for b, j := range index {
			out.second[i*t.dim+j] -= second[a][b]
		}
		out.second[i*t.dim+logSpread] -= cross[a]
		out.second[logSpread*t.dim+i] -= cross[a]
	}
	out.slope[logSpread] -= g.s
	out.second[logSpread*t.dim+logSpread] -= g.ss
}

func (t *fitter) newLoss() *loss {
	return &loss{slope: make([]float64, t.dim), second: make([]float64, t.dim*t.dim), groups: make([]groupSum, len(t.know.Groups))}
}

// minimise walks from a start to the least loss by Newton's steps, shortened where they
// do not go down.
func (t *fitter) minimise(start []float64) (x []float64, at *loss) {
	x, at = append([]float64{}, start...), t.newLoss()
	t.loss(x, at)
	next, there := make([]float64, t.dim), t.newLoss()
	step := make([]float64, t.dim)
	damp := 0.0
	for range 60 {
		l := cholesky(at.second, t.dim, damp)
		copy(step, at.slope)
		l.solve(step)
		l.solveTransposed(step)
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
	lower := cholesky(at.second, t.dim, 0)
	p.cov = lower.inverse()
	evidence := -at.value
	for i := range t.seen {
		evidence += t.seen[i].reason(t.f)
	}
	for i := range t.dim {
		evidence -= math.Log(lower.rows[i*t.dim+i])
	}
	p.lower = cholesky(p.cov, t.dim, 0)
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

// triangle is a lower triangular matrix, row by row.
type triangle struct {
	dim  int
	rows []float64
}

// cholesky factorises a symmetric positive matrix with something added to its diagonal.
func cholesky(a []float64, dim int, add float64) triangle {
	l := triangle{dim, make([]float64, dim*dim)}
	for i := range dim {
		for j := range i + 1 {
			sum := a[i*dim+j]
			if i == j {
				sum += add
			}
			for k := range j {
				sum -= l.rows[i*dim+k] * l.rows[j*dim+k]
			}
			if i > j {
				l.rows[i*dim+j] = sum / l.rows[j*dim+j]
				continue
			}
			l.rows[i*dim+i] = math.Sqrt(max(sum, 1e-12)) // rounding
		}
	}
	return l
}

// solve turns b into the solution of L x = b, and solveTransposed of that of its transpose.
func (l *triangle) solve(b []float64) {
	for i := range l.dim {
		for k := range i {
			b[i] -= l.rows[i*l.dim+k] * b[k]
		}
		b[i] /= l.rows[i*l.dim+i]
	}
}

func (l *triangle) solveTransposed(b []float64) {
	for i := l.dim - 1; i >= 0; i-- {
		for k := i + 1; k < l.dim; k++ {
			b[i] -= l.rows[k*l.dim+i] * b[k]
		}
		b[i] /= l.rows[i*l.dim+i]
	}
}

// inverse is that of L times its transpose.
func (l *triangle) inverse() []float64 {
	out := make([]float64, l.dim*l.dim)
	for i := range l.dim {
		column := out[i*l.dim : (i+1)*l.dim]
		column[i] = 1
		l.solve(column)
		l.solveTransposed(column)
	}
	return out
}
