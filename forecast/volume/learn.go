package volume

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// Visit is what one collection says about the yield of its group.
type Visit struct {
	Group     int     // index into the priors
	Months    float64 // 30 days each, since the reference day of the season
	Taps      int
	ExpectedL float64 // what that many usual taps would have left to collect
	Days      float64 // over how many days of flow that is spread; at least 1
	ObservedL float64
	AtLeast   bool // a container was full: there may have been more
}

// The model of a visit: observed litres are expected ones times the group's
// yield, with smallL a tap added to both, times an error whose logarithm has
// Student's t distribution, so that one bad entry counts little. The yield has
// a trend through the season, and groups share most of what is unknown of it
// (partial pooling).
const (
	smallL     = 0.6 // L a tap: what makes small volumes err by litres and not by factors
	ownLog     = 0.2 // prior standard deviation of what is a group's own of the log yield
	trendLog   = 0.1 // and of the trend a month
	spreadLog  = 0.3 // and of the logarithm of the error's spread
	tailDegree = 5.0 // degrees of freedom of the errors
	// A visit that sums days strays less than one day does, but not as if the
	// days were independent.
	lastingShare = 0.4
)

// Posterior is what is known of yields after some visits: a normal distribution
// of the parameters around the most likely ones (Laplace's approximation).
type Posterior struct {
	priors []Belief
	mean   []float64
	cov    *mat.SymDense
	lower  mat.TriDense // its Cholesky factor
	dim    int

	sharedSD float64 // prior standard deviation of what all groups share
	Visits   int
}

// The parameters, before those of each group.
const (
	shared = iota
	trend
	logSpread
	fixedParameters
)

// Learn updates the priors of groups, one each, by their visits. Visits of
// which nothing can be told, without flow or volume, must be left out.
func Learn(priors []Belief, visits []Visit) (*Posterior, error) {
	if len(priors) == 0 {
		return nil, errors.New("no group of taps to learn about")
	}
	for i, v := range visits {
		if v.Group < 0 || v.Group >= len(priors) || v.Taps <= 0 || !(v.ExpectedL >= 0) || !(v.ObservedL >= 0) {
			return nil, fmt.Errorf("visit %d cannot be learnt from: %+v", i+1, v)
		}
	}
	p := &Posterior{priors: priors, sharedSD: math.Sqrt(max(square(priors[0].LogSD)-ownLog*ownLog, 0.01)), dim: fixedParameters + len(priors), Visits: len(visits)}
	start := make([]float64, p.dim)
	start[logSpread] = math.Log(priors[0].DayLogSD)
	problem := optimize.Problem{
		Func: func(x []float64) float64 { return p.loss(x, visits, nil) },
		Grad: func(grad, x []float64) { p.loss(x, visits, grad) },
	}
	settings := &optimize.Settings{GradientThreshold: 1e-6, MajorIterations: 200}
	best, err := optimize.Minimize(problem, start, settings, &optimize.BFGS{})
	if best == nil || math.IsNaN(best.F) {
		return nil, fmt.Errorf("learn yields: %w", err)
	}
	p.mean = best.X // a stop short of the threshold is still the best point seen
	hessian := p.curvature(visits)
	var precision, covariance mat.Cholesky
	if !precision.Factorize(hessian) {
		return nil, errors.New("learn yields: the records contradict one another so far that no yield fits them; check their units")
	}
	p.cov = mat.NewSymDense(p.dim, nil)
	if err := precision.InverseTo(p.cov); err != nil || !covariance.Factorize(p.cov) {
		return nil, errors.New("learn yields: the records do not determine a yield")
	}
	covariance.LTo(&p.lower)
	p.mean[logSpread] += p.freedomUsed() * p.cov.At(logSpread, logSpread)
	return p, nil
}

// freedomUsed is how many parameters' worth of the visits went into fitting the
// yields and the trend: as with the n - 1 of a variance, the spread is too
// small by that. The spread's marginal mode lies that many times its variance
// above its joint one (Laplace's approximation of the rest).
func (p *Posterior) freedomUsed() float64 {
	used := 1 - p.cov.At(shared, shared)/(p.sharedSD*p.sharedSD)
	used += 1 - p.cov.At(trend, trend)/(trendLog*trendLog)
	for g := range p.priors {
		used += 1 - p.cov.At(fixedParameters+g, fixedParameters+g)/(ownLog*ownLog)
	}
	return max(used, 0)
}

// curvature is the Hessian of the loss at the mean, by central differences of
// the gradient.
func (p *Posterior) curvature(visits []Visit) *mat.SymDense {
	const step = 1e-4
	rows := make([][]float64, p.dim)
	x := slices.Clone(p.mean)
	up, down := make([]float64, p.dim), make([]float64, p.dim)
	for i := range rows {
		x[i] = p.mean[i] + step
		p.loss(x, visits, up)
		x[i] = p.mean[i] - step
		p.loss(x, visits, down)
		x[i] = p.mean[i]
		rows[i] = make([]float64, p.dim)
		for k := range up {
			rows[i][k] = (up[k] - down[k]) / (2 * step)
		}
	}
	h := mat.NewSymDense(p.dim, nil)
	for i := range rows {
		for k := range i + 1 {
			h.SetSym(i, k, (rows[i][k]+rows[k][i])/2)
		}
	}
	return h
}

// loss is the negative logarithm of the posterior density; its gradient goes to
// grad, unless that is nil.
func (p *Posterior) loss(x []float64, visits []Visit, grad []float64) float64 {
	sum := 0.0
	clear(grad)
	prior := func(i int, mean, sd float64) {
		z := (x[i] - mean) / sd
		sum += z * z / 2
		if grad != nil {
			grad[i] += z / sd
		}
	}
	prior(shared, 0, p.sharedSD)
	prior(trend, 0, trendLog)
	prior(logSpread, math.Log(p.priors[0].DayLogSD), spreadLog)
	for g := range p.priors {
		prior(fixedParameters+g, 0, ownLog)
	}
	tail := distuv.StudentsT{Sigma: 1, Nu: tailDegree}
	spread := math.Exp(x[logSpread])
	for i := range visits {
		v := &visits[i]
		own := fixedParameters + v.Group
		little := smallL * float64(v.Taps)
		expected := v.ExpectedL * math.Exp(p.priors[v.Group].LogMean+x[shared]+x[trend]*v.Months+x[own])
		scale := spread * visitShare(v.Days)
		z := math.Log((v.ObservedL+little)/(expected+little)) / scale
		var slope float64 // of the loss with z
		exact := false
		switch {
		case v.AtLeast: // there may have been more
			beyond := max(1-tail.CDF(z), 1e-300)
			sum -= math.Log(beyond)
			slope = math.Exp(tail.LogProb(z)) / beyond
		case v.ObservedL == 0: // too little to carry away
			below := max(tail.CDF(z), 1e-300)
			sum -= math.Log(below)
			slope = -math.Exp(tail.LogProb(z)) / below
		default:
			exact = true
			sum += (tailDegree+1)/2*math.Log1p(z*z/tailDegree) + math.Log(scale)
			slope = (tailDegree + 1) * z / (tailDegree + z*z)
		}
		if grad == nil {
			continue
		}
		byYield := -slope * expected / (expected + little) / scale
		grad[shared] += byYield
		grad[trend] += byYield * v.Months
		grad[own] += byYield
		grad[logSpread] -= slope * z
		if exact {
			grad[logSpread]++
		}
	}
	return sum
}

// visitShare is the spread of a visit that sums so many days, against that of
// one day.
func visitShare(days float64) float64 {
	return math.Sqrt(lastingShare + (1-lastingShare)/max(days, 1))
}

// Draw is one set of yields that may be true.
type Draw struct {
	LogYield []float64 // by group, at the reference day
	Trend    float64   // of all groups, a month
	Spread   float64   // of one day's error, as a logarithm
}

// Draw turns standard normal numbers, Dim of them, into a draw.
func (p *Posterior) Draw(normal []float64) Draw {
	var shift mat.VecDense
	shift.MulVec(&p.lower, mat.NewVecDense(p.dim, normal))
	d := Draw{LogYield: make([]float64, len(p.priors))}
	for g := range d.LogYield {
		d.LogYield[g] = p.priors[g].LogMean + p.mean[shared] + shift.AtVec(shared) + p.mean[fixedParameters+g] + shift.AtVec(fixedParameters+g)
	}
	d.Trend = p.mean[trend] + shift.AtVec(trend)
	d.Spread = math.Exp(p.mean[logSpread] + shift.AtVec(logSpread))
	return d
}

// Dim is how many normal numbers a draw takes.
func (p *Posterior) Dim() int { return p.dim }

// LogYield is the most likely log yield of a group at the reference day, and
// its standard deviation.
func (p *Posterior) LogYield(group int) (mean, sd float64) {
	i := fixedParameters + group
	return p.priors[group].LogMean + p.mean[shared] + p.mean[i], math.Sqrt(p.cov.At(shared, shared) + p.cov.At(i, i) + 2*p.cov.At(shared, i))
}

// seasonLog is how far a bush's yield strays between years beyond what the
// weather explains (common practice).
const seasonLog = 0.25

// NextSeason turns what was learnt into the priors of a later season.
func (p *Posterior) NextSeason() []Belief {
	next := make([]Belief, len(p.priors))
	for g := range next {
		mean, sd := p.LogYield(g)
		next[g] = Belief{LogMean: mean, LogSD: math.Hypot(sd, seasonLog), DayLogSD: p.Spread()}
	}
	return next
}

// Spread is the most likely spread of a day's error, as a logarithm.
func (p *Posterior) Spread() float64 { return math.Exp(p.mean[logSpread]) }

func square(x float64) float64 { return x * x }
