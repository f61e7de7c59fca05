package weather

import (
	"math"
	"math/rand/v2"
)

// fewestEven is how many draws are made to lie evenly: fewer are drawn one by one, for
// who takes one wants any error that may come and no typical one.
const fewestEven = 10

// evenPlane gives pairs of independent standard normal numbers that, with those of
// opposite sign and nought, lie as evenly as so few can: a lattice of the golden
// ratio in the plane of their probabilities, in an order that rng shuffles.
func evenPlane(pairs int, rng *rand.Rand) (a, b []float64) {
	if pairs < fewestEven {
		return normals(pairs, rng), normals(pairs, rng)
	}
	points := 2*pairs + 1
	step := goldenStep(points)
	a, b = make([]float64, pairs), make([]float64, pairs)
	for i, p := range rng.Perm(pairs) {
		sign := float64(1 - 2*rng.IntN(2))
		a[p] = sign * latticeNormal(i+1, points)
		b[p] = sign * latticeNormal((i+1)*step%points, points)
	}
	return a, b
}

// latticeNormal is the normal number of a lattice's point: nought for the first, and
// those of k and points-k are opposite.
func latticeNormal(k, points int) float64 {
	u := math.Mod(float64(k)/float64(points)+0.5, 1)
	return math.Sqrt2 * math.Erfinv(2*u-1)
}

// goldenStep is the number next to points over the golden ratio that shares no
// divisor with points.
func goldenStep(points int) int {
	for step := int(math.Round(float64(points) / math.Phi)); step > 1; step-- {
		a, b := points, step
		for b > 0 {
			a, b = b, a%b
		}
		if a == 1 {
			return step
		}
	}
	return 1
}

func normals(count int, rng *rand.Rand) []float64 {
	out := make([]float64, count)
	for i := range out {
		out[i] = rng.NormFloat64()
	}
	return out
}

func square(x float64) float64 { return x * x }

// drift gives paths of standard normal numbers by hour that forget themselves over
// memoryHours.
func drift(paths, hours int, memoryHours float64, rng *rand.Rand) [][]float64 {
	keep := math.Exp(-1 / memoryHours)
	fresh := math.Sqrt(1 - keep*keep)
	out := make([][]float64, paths)
	for p := range out {
		out[p] = make([]float64, hours)
		now := rng.NormFloat64()
		for i := range hours {
			out[p][i] = now
			now = keep*now + fresh*rng.NormFloat64()
		}
	}
	return out
}
