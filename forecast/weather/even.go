package weather

import (
	"math"
	"math/rand/v2"
)

// fewestEven is how many draws are made to lie evenly: fewer are drawn one by one, for
// who takes one wants any error that may come and no typical one.
const fewestEven = 10

// normalDraws are standard normal numbers of pairs of members: of each day's low and
// high and of its sunshine, by day and pair; and of what drifts, by pair and hour.
type normalDraws struct {
	local      [2][][]float64 // lows, highs
	sun        [][]float64
	slow, wind [][]float64
}

// drawNormals draws them; what drifts forgets itself over memoryHours.
func drawNormals(days, hours, pairs int, memoryHours float64, rng *rand.Rand) normalDraws {
	table := func(rows, columns int) [][]float64 {
		out := make([][]float64, rows)
		for i := range out {
			out[i] = make([]float64, columns)
		}
		return out
	}
	z := normalDraws{[2][][]float64{table(days, pairs), table(days, pairs)}, table(days, pairs), table(pairs, hours), table(pairs, hours)}
	keep := math.Exp(-1 / memoryHours)
	fresh := math.Sqrt(1 - keep*keep)
	for p := range pairs {
		for day := range days {
			z.local[0][day][p], z.local[1][day][p], z.sun[day][p] = rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		}
		slow, wind := rng.NormFloat64(), rng.NormFloat64()
		for i := range hours {
			z.slow[p][i], z.wind[p][i] = slow, wind
			slow = keep*slow + fresh*rng.NormFloat64()
			wind = keep*wind + fresh*rng.NormFloat64()
		}
	}
	if pairs >= fewestEven {
		for day := range days {
			z.local[0][day], z.local[1][day] = evenPlane(pairs, rng)
		}
	}
	return z
}

// evenPlane gives pairs of independent standard normal numbers that, with those of
// opposite sign and nought, lie as evenly as so few can: a lattice of the golden
// ratio in the plane of their probabilities, in an order that rng shuffles.
func evenPlane(pairs int, rng *rand.Rand) (a, b []float64) {
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

func square(x float64) float64 { return x * x }
