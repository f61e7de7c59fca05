package volume

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Visit is what one collection says about the yield of its group.
type Visit struct {
	Group     int     // index into the groups that are learnt about
	Months    float64 // 30 days each, since the reference day of the season
	Taps      int
	ExpectedL float64 // what that many usual taps would have left to collect
	Days      float64 // over how many days of flow that is spread; at least 1
	ObservedL float64
	AtLeast   bool // a container was full: there may have been more
}

// The model of a visit: observed litres are expected ones times the group's
// yield, with smallL a tap added to both, times an error whose logarithm is a mixture
// of two normal laws, about as heavy-tailed as Student's t of five degrees of freedom,
// and now and then a slip of the pen. A keeper who comes when there is a certain fill
// comes when that much ran: the volume is tilted towards it, by the chance of a visit.
// The yield has a trend through the season, and groups share most of what is unknown of
// it (partial pooling).
const (
	smallL    = 0.6 // L a tap: what makes small volumes err by litres and not by factors
	ownLog    = 0.2 // prior standard deviation of what is a group's own of the log yield
	trendLog  = 0.1 // and of the trend a month
	spreadLog = 0.3 // and of the logarithm of the error's spread
	// A visit that sums days strays less than one day does, but not as if the
	// days were independent.
	lastingShare = 0.4
	slipDensity  = 0.0003 / 8 // of one entry in 3,000, anywhere in eight units of its logarithm
)

var errorParts = [2]struct{ share, width float64 }{{0.85, 0.9}, {0.15, 2}}

// fill is why a keeper comes: at a volume that is log-normal around so many litres a tap.
// The first of fills is no reason: a keeper who comes by the clock.
type fill struct{ logL, spread float64 }

var fills = []fill{
	{},
	{math.Log(2.5 + smallL), 0.5},
	{math.Log(4 + smallL), 0.5},
	{math.Log(6.5 + smallL), 0.5},
}

// visitShare is the spread of a visit that sums so many days, against that of
// one day.
func visitShare(days float64) float64 {
	return math.Sqrt(lastingShare + (1-lastingShare)/max(days, 1))
}

// surface is a density, and the slopes and curvatures of its logarithm with two of its
// arguments: x, the logarithm of what ran, and s, that of the spread.
type surface struct{ density, x, s, xx, xs, ss float64 }

// mixture gathers a sum of densities, part by part.
type mixture struct{ sum surface }

// add takes in a density whose logarithm has such slopes and curvatures.
func (t *mixture) add(density, x, s, xx, xs, ss float64) {
	t.sum.density += density
	t.sum.x += density * x
	t.sum.s += density * s
	t.sum.xx += density * (xx + x*x)
	t.sum.xs += density * (xs + x*s)
	t.sum.ss += density * (ss + s*s)
}

// with is the sum with a constant.
func (t *mixture) with(constant float64) surface {
	density := t.sum.density + constant
	per := 1 / density
	x, s := t.sum.x*per, t.sum.s*per
	return surface{density, x, s, t.sum.xx*per - x*x, t.sum.xs*per - x*s, t.sum.ss*per - s*s}
}

const root2Pi = 2.5066282746310002

// densityOf is that of u, log(litres a tap + smallL), where m is expected, apart from why
// the keeper came.
func densityOf(u, m, scale float64) surface {
	var sum mixture
	for k := range errorParts {
		per := 1 / (scale * errorParts[k].width)
		z := (u - m) * per
		zz := z * z
		sum.add(errorParts[k].share*math.Exp(-zz/2)*per/root2Pi, z*per, zz-1, -per*per, -2*z*per, -2*zz)
	}
	return sum.with(slipDensity)
}

// chanceOf is how likely somebody comes who comes at a fill, where m is expected: as a
// density at the fill.
func chanceOf(f *fill, m, scale float64) surface {
	var sum mixture
	for k := range errorParts {
		own := square(scale * errorParts[k].width)
		per := 1 / math.Sqrt(own+f.spread*f.spread)
		rho := own * per * per
		y := (m - f.logL) * per
		yy := y * y
		sum.add(errorParts[k].share*math.Exp(-yy/2)*per/root2Pi, -y*per, (yy-1)*rho,
			-per*per, 2*y*per*rho, -2*yy*rho*rho+2*(yy-1)*rho*(1-rho))
	}
	return sum.with(1e-9)
}

// foretold is a mixture of normals of log(litres a tap + smallL).
type foretold struct{ share, mean, sd [2]float64 }

// foretell is what is expected of a visit: what ran, and that the keeper came for it.
func foretell(f *fill, m, scale float64) foretold {
	var out foretold
	sum := 0.0
	for k, part := range errorParts {
		sd := scale * part.width
		out.share[k], out.mean[k], out.sd[k] = part.share, m, sd
		if f.spread > 0 {
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

// censored is the chance of u or more, or of u or less; its slopes are by differences: few
// visits are such.
func censored(f *fill, u, m, logScale float64, more bool) surface {
	at := func(m, s float64) float64 {
		t := foretell(f, m, math.Exp(s))
		p := 1e-4 // a slip
		for k := range t.share {
			z := (u - t.mean[k]) / t.sd[k]
			if more {
				z = -z
			}
			p += t.share[k] * distuv.UnitNormal.CDF(z)
		}
		return math.Log(p)
	}
	const d = 1e-3
	mid := at(m, logScale)
	left, right := at(m-d, logScale), at(m+d, logScale)
	down, up := at(m, logScale-d), at(m, logScale+d)
	both := at(m+d, logScale+d)
	return surface{
		math.Exp(mid), (right - left) / (2 * d), (up - down) / (2 * d),
		(right - 2*mid + left) / (d * d), (both - right - up + mid) / (d * d), (up - 2*mid + down) / (d * d),
	}
}

// observation is a visit as one strand and one habit see it, made ready.
type observation struct {
	group              int
	months, expected   float64 // expected litres a tap of a usual one
	u, share, logShare float64
	more, none         bool
}

func observe(v *Visit) observation {
	share := visitShare(v.Days)
	return observation{
		group: v.Group, months: v.Months, expected: v.ExpectedL / float64(v.Taps),
		u: math.Log(v.ObservedL/float64(v.Taps) + smallL), share: share, logShare: math.Log(share),
		more: v.AtLeast, none: v.ObservedL == 0,
	}
}

// ran is log(litres a tap + smallL) at a log yield, and its slope with it.
func (o *observation) ran(logYield float64) (m, slope float64) {
	l := o.expected * math.Exp(logYield)
	return math.Log(l + smallL), l / (l + smallL)
}

// reason is the part of the logarithm of the likelihood that no yield changes: how far the
// volume lies from a fill.
func (o *observation) reason(f *fill) float64 {
	if f.spread == 0 || o.more || o.none {
		return 0
	}
	z := (o.u - f.logL) / f.spread
	return max(-z*z/2, -12) - math.Log(f.spread*root2Pi)
}

// like is the rest of the likelihood of a log yield and a spread, in which x is the log
// yield.
func (o *observation) like(f *fill, logYield, spread, logSpread float64) surface {
	m, p := o.ran(logYield)
	var l surface
	switch {
	case o.more || o.none:
		l = censored(f, o.u, m, logSpread+o.logShare, o.more)
	case f.spread > 0:
		l = densityOf(o.u, m, spread*o.share)
		c := chanceOf(f, m, spread*o.share)
		l = surface{l.density / c.density, l.x - c.x, l.s - c.s, l.xx - c.xx, l.xs - c.xs, l.ss - c.ss}
	default:
		l = densityOf(o.u, m, spread*o.share)
	}
	l.xx = l.xx*p*p + l.x*p*(1-p)
	l.xs *= p
	l.x *= p
	l.hollow()
	return l
}

// hollow leaves out curvature that would make what is known less sure than before: an
// outlier says little, and not that anything may be.
func (l *surface) hollow() {
	l.xx, l.ss = min(l.xx, 0), min(l.ss, 0)
	if most := l.xx * l.ss; l.xs*l.xs > most {
		l.xs = math.Copysign(math.Sqrt(most), l.xs)
	}
}
