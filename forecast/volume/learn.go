package volume

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/diff/fd"
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
	shared float64   // prior standard deviation of what all groups share
	mean   []float64 // shared, trend, log spread, then one for each group
	cov    *mat.SymDense
	lower  mat.TriDense // its Cholesky factor
	dim    int
	Visits int
}

const fixedParameters = 3

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
	p := &Posterior{priors: priors, shared: math.Sqrt(max(square(priors[0].LogSD)-ownLog*ownLog, 0.01)), dim: fixedParameters + len(priors), Visits: len(visits)}
	loss := func(x []float64) float64 { return p.loss(x, visits) }
	start := make([]float64, p.dim)
	start[2] = math.Log(priors[0].DayLogSD)
	settings := &optimize.Settings{GradientThreshold: 1e-5, MajorIterations: 200}
	problem := optimize.Problem{Func: loss, Grad: func(grad, x []float64) {
		fd.Gradient(grad, loss, x, &fd.Settings{Formula: fd.Central})
	}}
	best, err := optimize.Minimize(problem, start, settings, &optimize.BFGS{})
	if best == nil || math.IsNaN(best.F) {
		return nil, fmt.Errorf("learn yields: %w", err)
	}
	p.mean = best.X // a stop short of the threshold is still the best point seen
	hessian := mat.NewSymDense(p.dim, nil)
	fd.Hessian(hessian, loss, p.mean, nil)
	var precision, covariance mat.Cholesky
	if !precision.Factorize(hessian) {
		return nil, errors.New("learn yields: the records contradict one another so far that no yield fits them; check their units")
	}
	p.cov = mat.NewSymDense(p.dim, nil)
	if err := precision.InverseTo(p.cov); err != nil || !covariance.Factorize(p.cov) {
		return nil, errors.New("learn yields: the records do not determine a yield")
	}
	covariance.LTo(&p.lower)
	return p, nil
}

// loss is the negative logarithm of the posterior density.
func (p *Posterior) loss(x []float64, visits []Visit) float64 {
	shared, trend, logSpread := x[0], x[1], x[2]
	sum := square(shared/p.shared) + square(trend/trendLog) + square((logSpread-math.Log(p.priors[0].DayLogSD))/spreadLog)
	for _, own := range x[fixedParameters:] {
		sum += square(own / ownLog)
	}
	sum /= 2
	for i := range visits {
		v := &visits[i]
		scale := math.Exp(logSpread) * visitShare(v.Days)
		yield := p.priors[v.Group].LogMean + shared + trend*v.Months + x[fixedParameters+v.Group]
		little := smallL * float64(v.Taps)
		z := math.Log((v.ObservedL+little)/(v.ExpectedL*math.Exp(yield)+little)) / scale
		t := distuv.StudentsT{Sigma: 1, Nu: tailDegree}
		if v.AtLeast {
			sum -= math.Log(max(1-t.CDF(z), 1e-300))
		} else {
			sum -= t.LogProb(z) - math.Log(scale)
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
		d.LogYield[g] = p.priors[g].LogMean + p.mean[0] + shift.AtVec(0) + p.mean[fixedParameters+g] + shift.AtVec(fixedParameters+g)
	}
	d.Trend = p.mean[1] + shift.AtVec(1)
	d.Spread = math.Exp(p.mean[2] + shift.AtVec(2))
	return d
}

// Dim is how many normal numbers a draw takes.
func (p *Posterior) Dim() int { return p.dim }

// LogYield is the most likely log yield of a group at the reference day, and
// its standard deviation.
func (p *Posterior) LogYield(group int) (mean, sd float64) {
	i := fixedParameters + group
	return p.priors[group].LogMean + p.mean[0] + p.mean[i], math.Sqrt(p.cov.At(0, 0) + p.cov.At(i, i) + 2*p.cov.At(0, i))
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
func (p *Posterior) Spread() float64 { return math.Exp(p.mean[2]) }

func square(x float64) float64 { return x * x }
