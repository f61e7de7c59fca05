package verify

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func TestCRPSOfANormalForecast(t *testing.T) {
	for _, c := range []struct{ observed, mean, sd, want float64 }{ // SciPy, see events_test.go
		{0, 0, 1, 0.233694977255},
		{1, 0, 1, 0.602441357628},
		{-3, 0, 1, 2.436574725086}, // 2.43657473 as well in the tests of the R package scoringRules
		{5, 3, 2, 1.204882715233},
		{0.1, 0, 0.5, 0.124799844089},
	} {
		near(t, "CRPS of a normal forecast", crpsNormal(c.mean, c.sd, c.observed), c.want)
	}
}

func TestCRPSOfMembers(t *testing.T) {
	for _, c := range []struct {
		members  []float64
		observed float64
		want     float64 // SciPy, see events_test.go
	}{
		{[]float64{1, 2, 3}, 2.5, 0.3888888888888889},
		{[]float64{9, 0, 4, 1}, 3, 1.125},
		{[]float64{10, 12, 13, 15, 20}, 14, 0.96},
		{[]float64{2}, 5, 3},
		{[]float64{0, 0, 0, 3, 7}, 0, 0.64},
	} {
		near(t, "CRPS of members", CRPS(c.members, c.observed), c.want)
	}
	// Many members of a normal forecast score as its formula says.
	var members []float64
	for i := range 4000 {
		members = append(members, distuv.Normal{Mu: 3, Sigma: 2}.Quantile((float64(i)+0.5)/4000))
	}
	if got, want := CRPS(members, 5), crpsNormal(3, 2, 5); math.Abs(got-want) > 1e-3 {
		t.Errorf("%.5f from members, %.5f from the formula", got, want)
	}
}

func TestCorrelations(t *testing.T) {
	a, b := []float64{3, 1, 4, 1, 5, 9, 2, 6, 5, 3}, []float64{2, 7, 1, 8, 2, 8, 1, 8, 2, 8}
	near(t, "Spearman with ties", Spearman(a, b), 0.13471506281091267) // SciPy
	near(t, "Pearson", Pearson(a, b), 0.10492284287735881)             // SciPy
	a, b = []float64{1.5, 2.25, 0, 7, 3.5, 4}, []float64{2, 2.5, 0.5, 5, 5.5, 1}
	near(t, "Spearman", Spearman(a, b), 0.5428571428571429) // SciPy
	near(t, "Pearson", Pearson(a, b), 0.669652626250733)    // SciPy
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfNDistinct(rapid.Float64Range(-1e3, 1e3), 3, 30, rapid.ID[float64]).Draw(t, "x")
		var y []float64
		for _, v := range x {
			y = append(y, v*v*v)
		}
		if r := Spearman(x, y); math.Abs(r-1) > 1e-9 && len(slices.Compact(slices.Sorted(slices.Values(y)))) == len(y) {
			t.Fatalf("rank correlation with a rising function is %g", r)
		}
	})
}

// A calibrated forecast has an even PIT, also where many members and
// observations are exactly zero.
func TestPIT(t *testing.T) {
	near(t, "PIT", PIT([]float64{1, 2, 3, 4}, 2.5, 0.5), 0.5)
	near(t, "PIT with ties", PIT([]float64{0, 0, 0, 4}, 0, 0.5), 0.4)
	rng := rand.New(rand.NewPCG(1, 1))
	draw := func() float64 { return max(rng.NormFloat64(), 0) }
	var tenths [10]int
	const cases = 5000
	for range cases {
		members := make([]float64, 50)
		for i := range members {
			members[i] = draw()
		}
		tenths[min(int(10*PIT(members, draw(), rng.Float64())), 9)]++
	}
	for i, n := range tenths { // four standard errors of a count of 500
		if math.Abs(float64(n)-cases/10) > 4*math.Sqrt(cases*0.09) {
			t.Errorf("tenth %d holds %d of %d", i, n, cases)
		}
	}
}

// Interval of a correlation, blocks of one: SciPy's percentile bootstrap gives
// 0.791 to 0.899 (see events_test.go).
func TestBootstrap(t *testing.T) {
	var x, y []float64
	for i := 1; i <= 40; i++ {
		x, y = append(x, float64(i)), append(y, float64(i)+10*math.Sin(float64(i)))
	}
	got := Bootstrap(40, 1, 9999, 0.9, 1, func(cases []int) float64 { return Pearson(pick(x, cases), pick(y, cases)) })
	if math.Abs(got.Low-0.791) > 0.006 || math.Abs(got.High-0.899) > 0.006 {
		t.Errorf("%.4f", got)
	}
}

// crpsNormal is the continuous ranked probability score of a normal forecast
// against what was observed, in its unit: 0 is perfect, and for a forecast
// without spread it is the absolute error (Gneiting and Raftery 2007).
func crpsNormal(mean, sd, observed float64) float64 {
	z := (observed - mean) / sd
	n := distuv.UnitNormal
	return sd * (z*(2*n.CDF(z)-1) + 2*n.Prob(z) - 1/math.Sqrt(math.Pi))
}
