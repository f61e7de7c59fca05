package volume

import "math"

// arrow is a symmetric positive matrix of the parameters that are shared and, behind
// them, of those of each group, which touch the shared ones and no other group: what is
// worked out with it grows with the groups, not with their square or cube.
type arrow struct {
	core [fixedParameters][fixedParameters]float64
	edge [][fixedParameters]float64 // of each group with the shared ones
	own  []float64                  // of each group with itself
}

func newArrow(groups int) arrow {
	return arrow{edge: make([][fixedParameters]float64, groups), own: make([]float64, groups)}
}

func (a *arrow) clear() {
	a.core = [fixedParameters][fixedParameters]float64{}
	clear(a.edge)
	clear(a.own)
}

// factored is an arrow without its groups (their Schur complement), which are worked out
// from what is shared: at is the Cholesky factor of what is left of the core, lean what a
// group leans on each shared parameter.
type factored struct {
	at   [fixedParameters][fixedParameters]float64
	lean [][fixedParameters]float64
	own  []float64
}

// factor takes the groups out of an arrow, to whose diagonal something is added.
func (a *arrow) factor(add float64, out *factored) {
	left := a.core
	for i := range left {
		left[i][i] += add
	}
	for g, own := range a.own {
		own += add
		out.own[g] = own
		edge, lean := &a.edge[g], &out.lean[g]
		for i := range lean {
			lean[i] = edge[i] / own
		}
		for i := range left {
			for j := range i + 1 {
				left[i][j] -= lean[i] * edge[j]
			}
		}
	}
	out.at = cholesky(&left)
}

func newFactored(groups int) factored {
	return factored{lean: make([][fixedParameters]float64, groups), own: make([]float64, groups)}
}

// cholesky factorises a symmetric positive matrix, of which the lower triangle is read.
func cholesky(a *[fixedParameters][fixedParameters]float64) (l [fixedParameters][fixedParameters]float64) {
	for i := range l {
		for j := range i + 1 {
			sum := a[i][j]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			if i > j {
				l[i][j] = sum / l[j][j]
				continue
			}
			l[i][i] = math.Sqrt(max(sum, 1e-12)) // rounding
		}
	}
	return l
}

// solve turns b, the shared parameters before those of each group, into the arrow's
// inverse times it.
func (f *factored) solve(b []float64) {
	groups := b[fixedParameters:]
	for g, lean := range f.lean {
		for i := range lean {
			b[i] -= lean[i] * groups[g]
		}
	}
	f.solveShared(b)
	for g, lean := range f.lean {
		groups[g] /= f.own[g]
		for i := range lean {
			groups[g] -= lean[i] * b[i]
		}
	}
}

func (f *factored) solveShared(b []float64) {
	for i := range f.at {
		for k := range i {
			b[i] -= f.at[i][k] * b[k]
		}
		b[i] /= f.at[i][i]
	}
	for i := fixedParameters - 1; i >= 0; i-- {
		for k := i + 1; k < fixedParameters; k++ {
			b[i] -= f.at[k][i] * b[k]
		}
		b[i] /= f.at[i][i]
	}
}

// halfLogDet is half the logarithm of the arrow's determinant.
func (f *factored) halfLogDet() float64 {
	sum := 0.0
	for _, own := range f.own {
		sum += math.Log(own)
	}
	sum /= 2
	for i := range f.at {
		sum += math.Log(f.at[i][i])
	}
	return sum
}

// root is the Cholesky factor of the arrow's inverse. What is shared comes first, so that
// groups, which know of each other by that alone, keep a row of their own: its shared part
// and its diagonal.
func (f *factored) root() root {
	var inverse [fixedParameters][fixedParameters]float64
	for i := range inverse {
		inverse[i][i] = 1
		f.solveShared(inverse[i][:])
	}
	r := root{core: cholesky(&inverse), edge: make([][fixedParameters]float64, len(f.own)), own: make([]float64, len(f.own))}
	for g, lean := range f.lean {
		for k := range lean {
			for i := k; i < fixedParameters; i++ {
				r.edge[g][k] -= lean[i] * r.core[i][k]
			}
		}
		r.own[g] = 1 / math.Sqrt(f.own[g])
	}
	return r
}

// root is a lower triangular matrix whose square is the covariance of the parameters: of
// those that are shared, and of each group with these and with itself.
type root struct {
	core [fixedParameters][fixedParameters]float64
	edge [][fixedParameters]float64
	own  []float64
}

// row is that of a parameter, as far as it is shared.
func (r *root) row(i int) *[fixedParameters]float64 {
	if i < fixedParameters {
		return &r.core[i]
	}
	return &r.edge[i-fixedParameters]
}

// variance is the covariance of two parameters.
func (r *root) variance(i, j int) float64 {
	a, b := r.row(i), r.row(j)
	sum := 0.0
	for k := range a {
		sum += a[k] * b[k]
	}
	if i == j && i >= fixedParameters {
		sum += square(r.own[i-fixedParameters])
	}
	return sum
}

// draw turns standard normal numbers into parameters around a mean.
func (r *root) draw(mean, x []float64) {
	for i := len(x) - 1; i >= 0; i-- {
		sum, row := mean[i], r.row(i)
		for k := range min(i+1, fixedParameters) {
			sum += row[k] * x[k]
		}
		if i >= fixedParameters {
			sum += r.own[i-fixedParameters] * x[i]
		}
		x[i] = sum
	}
}
