package volume

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// bent is the loss of a bush of some groups at some parameters, with visits of all kinds.
func bent(t *testing.T, rng *rand.Rand, groups int) *loss {
	t.Helper()
	know := Unknown(priorsOf(groups)...)
	f := fitter{know: &know, sharedSD: 0.3, dim: fixedParameters + groups, f: &fills[rng.IntN(len(fills))]}
	truth := drawTruth(rng, know.Groups)
	for k := range 10 * groups {
		v := truth.visit(rng, k%groups, float64(k)/40)
		v.AtLeast = k%7 == 0
		f.seen = append(f.seen, observe(&v))
	}
	x := make([]float64, f.dim)
	for i := range x {
		x[i] = 0.3 * rng.NormFloat64()
	}
	at := f.newLoss()
	f.loss(x, at)
	return at
}

// dense is an arrow as a whole matrix.
func (a *arrow) dense() *mat.SymDense {
	m := mat.NewSymDense(fixedParameters+len(a.own), nil)
	for i := range fixedParameters {
		for j := range i + 1 {
			m.SetSym(i, j, a.core[i][j])
		}
		for g := range a.own {
			m.SetSym(i, fixedParameters+g, a.edge[g][i])
		}
	}
	for g, own := range a.own {
		m.SetSym(fixedParameters+g, fixedParameters+g, own)
	}
	return m
}

// Without their zeros, Newton's step, the determinant, the covariance and its root are
// those of the whole matrix, as Gonum's dense Cholesky factor has them.
func TestArrowIsTheWholeMatrix(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-10*max(1, math.Abs(want)) {
			t.Errorf("%s is %.15g, want %.15g", what, got, want)
		}
	}
	for _, groups := range []int{1, 2, 7, 40} {
		for _, add := range []float64{0, 3} {
			at := bent(t, rng, groups)
			dim := fixedParameters + groups
			whole := at.second.dense()
			for i := range dim {
				whole.SetSym(i, i, whole.At(i, i)+add)
			}
			var chol, covChol mat.Cholesky
			if !chol.Factorize(whole) {
				t.Fatal("not positive")
			}
			got := newFactored(groups)
			at.second.factor(add, &got)

			step := append([]float64{}, at.slope...)
			got.solve(step)
			var want mat.VecDense
			if err := chol.SolveVecTo(&want, mat.NewVecDense(dim, at.slope)); err != nil {
				t.Fatal(err)
			}
			for i := range step {
				near("the step", step[i], want.AtVec(i))
			}
			near("the determinant", got.halfLogDet(), chol.LogDet()/2)

			var cov mat.SymDense
			if err := chol.InverseTo(&cov); err != nil {
				t.Fatal(err)
			}
			if !covChol.Factorize(&cov) {
				t.Fatal("the covariance is not positive")
			}
			var lower mat.TriDense
			covChol.LTo(&lower)
			r := got.root()
			z, mean := make([]float64, dim), make([]float64, dim)
			for i := range dim {
				z[i], mean[i] = rng.NormFloat64(), rng.NormFloat64()
				for j := range i + 1 {
					near("a covariance", r.variance(i, j), cov.At(i, j))
				}
			}
			x := append([]float64{}, z...)
			r.draw(mean, x)
			for i := range dim {
				sum := mean[i]
				for j := range i + 1 {
					sum += lower.At(i, j) * z[j]
				}
				near("a draw", x[i], sum)
			}
		}
	}
}

// A loss's slope is that of its value, by differences.
func TestSlopesAreThoseOfTheLoss(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	const groups = 3
	know := Unknown(priorsOf(groups)...)
	f := fitter{know: &know, sharedSD: 0.3, dim: fixedParameters + groups, f: &fills[0]}
	truth := drawTruth(rng, know.Groups)
	for k := range 30 {
		v := truth.visit(rng, k%groups, float64(k)/40)
		v.ObservedL = max(v.ObservedL, 1)
		f.seen = append(f.seen, observe(&v))
	}
	x := make([]float64, f.dim)
	x[logSpread] = -0.5
	at, there := f.newLoss(), f.newLoss()
	f.loss(x, at)
	for i := range x {
		const d = 1e-5
		x[i] += d
		f.loss(x, there)
		up := there.value
		x[i] -= 2 * d
		f.loss(x, there)
		down := there.value
		x[i] += d
		if got, want := at.slope[i], (up-down)/(2*d); math.Abs(got-want) > 1e-5*max(1, math.Abs(want)) {
			t.Errorf("slope with parameter %d is %g, by differences %g", i, got, want)
		}
	}
}
