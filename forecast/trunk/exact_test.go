package trunk

import (
	"math"
	"testing"
)

// meanTheta is what is left of a cylinder's mean excess of temperature at a
// Fourier number: Carslaw and Jaeger, Conduction of Heat in Solids, sec. 7.6
// (zeros of J0 from memory). At 0.2 it is 0.217852.
func meanTheta(fo float64) float64 {
	sum := 0.0
	for _, b := range []float64{2.40482555769577, 5.52007811028631, 8.65372791291101, 11.7915344390143, 14.9309177084878} {
		sum += 4 / (b * b) * math.Exp(-b*b*fo)
	}
	return sum
}

// coolingError is how far a grid's mean is from the series at Fourier number
// 0.2, in K of 10.
func coolingError(rings, stepsPerHour int) float64 {
	const radius, k = 0.15, 0.35
	hours := 8
	c := k * float64(hours) * 3600 / (0.2 * radius * radius)
	g := newGrid(plain(radius, k, c, 1), rings, 1, stepsPerHour)
	s := g.NewStem(30)
	for range hours {
		g.Hour(s, held(20))
	}
	mean := g.EnergyJ(s) / (math.Pi * radius * radius) / c
	return math.Abs(mean-20) - 10*meanTheta(0.2)
}

func TestOrderOfConvergence(t *testing.T) {
	if math.Abs(meanTheta(0.2)-0.217852) > 1e-6 {
		t.Fatalf("series gives %.6f", meanTheta(0.2))
	}
	// In time, on rings so fine that they add nothing: backward Euler is of
	// first order.
	var last, order float64
	for _, steps := range []int{4, 8, 16} {
		e := coolingError(400, steps)
		order = math.Log2(last / e)
		t.Logf("%3d steps an hour: %+.5f K, order %.2f", steps, e, order)
		last = e
	}
	if math.Abs(order-1) > 0.1 {
		t.Errorf("order %.2f in time, want 1", order)
	}
	// In space, with what the time steps add taken off: second order.
	time := coolingError(400, 400)
	last = 0
	for _, rings := range []int{10, 20, 40} {
		e := coolingError(rings, 400) - time
		order = math.Log2(last / e)
		t.Logf("%3d rings: %+.5f K, order %.2f", rings, e, order)
		last = e
	}
	if math.Abs(order-2) > 0.15 {
		t.Errorf("order %.2f in space, want 2", order)
	}
}

// One-phase Stefan problem: wood at its freezing point whose surface is held
// below it (Carslaw and Jaeger ch. XI). lambda exp(lambda²) erf(lambda) =
// St/√π; at St 0.1 lambda is 0.22001627.
func TestFreezingFrontFollowsStefan(t *testing.T) {
	const lambda = 0.22001627
	if d := lambda*math.Exp(lambda*lambda)*math.Erf(lambda) - 0.1/math.Sqrt(math.Pi); math.Abs(d) > 1e-8 {
		t.Fatalf("lambda misses its equation by %g", d)
	}
	// c dT / L = 2e6 * 10 / 2e8. A stem of 5 m radius is nearly flat.
	w := Wood{RadiusM: 5, BarkConductivity: 1, ThawedConductivity: 2, FrozenConductivity: 2,
		ThawedJM3K: 2e6, FrozenJM3K: 2e6, LatentJM3: 2e8, FreezingC: 0, FreezingRangeK: 0.01}
	g := newGrid(w, 400, 1.02, 360)
	s := g.NewStem(0)
	before := 0.0
	for h := 1; h <= 10; h++ {
		g.Hour(s, held(-10))
		got := 0.0
		for i := range s {
			got += w.iceFraction(s[i]) * (g.edgeM[i] - g.edgeM[i+1])
		}
		want := 2 * lambda * math.Sqrt(1e-6*3600*float64(h))
		if math.Abs(got/want-1) > 0.01 || got < before {
			t.Errorf("front after %d h at %.2f mm, want %.2f", h, 1000*got, 1000*want)
		}
		before = got
	}
}

// Hours to freeze a stem of 15 cm radius whole at -5 °C, quasi-steady: L a² /
// (4 k dT) = 51.96 (standard formula for small Stefan numbers). With the heat
// that frozen wood gives off the true time is a little longer.
func TestStemFreezesWholeInQuasiSteadyTime(t *testing.T) {
	w := Wood{RadiusM: 0.15, BarkConductivity: 1, ThawedConductivity: 0.45, FrozenConductivity: 0.45,
		ThawedJM3K: 1e5, FrozenJM3K: 1e5, LatentJM3: 7.4816e7, FreezingC: 0, FreezingRangeK: 0.01}
	g := newGrid(w, 150, 1, 60)
	s := g.NewStem(0)
	hours := 0
	for ; hours < 100 && w.iceFraction(s[len(s)-1]) < 0.5; hours++ {
		g.Hour(s, held(-5))
	}
	if math.Abs(float64(hours)-51.96) > 1.1 {
		t.Errorf("frozen whole after %d h, want 52", hours)
	}
}

// A surface that swings by the day: amplitude and lag 2 cm and 5 cm deep in a
// stem of 15 cm radius, from the modified Bessel function I0 of complex
// argument (Carslaw and Jaeger ch. VII; diffusivity 1.523e-7 m²/s): 0.789 and
// 1.24 h, 0.580 and 3.18 h.
func TestDailySwingFollowsBesselFunction(t *testing.T) {
	const c = 2.3e6
	g := newGrid(plain(0.15, 1.523e-7*c, c, 1), 150, 1, 120)
	s := g.NewStem(50) // far from the freezing point
	type wave struct{ sin, cos float64 }
	depths := []float64{0.0205, 0.0505}
	waves := make([]wave, len(depths))
	const days = 20
	for h := range 24 * days {
		// The surface's course is fed in by the hour's middle.
		g.Hour(s, held(50+10*math.Cos(2*math.Pi*(float64(h)+0.5)/24)))
		if h < 24*(days-1) {
			continue
		}
		for k, d := range depths {
			v := g.TemperatureC(s, d) - 50
			angle := 2 * math.Pi * float64(h+1) / 24
			waves[k].cos += v * math.Cos(angle) / 12
			waves[k].sin += v * math.Sin(angle) / 12
		}
	}
	for k, want := range []struct{ amplitude, lag float64 }{{0.789, 1.24}, {0.580, 3.18}} {
		amplitude := math.Hypot(waves[k].sin, waves[k].cos) / 10
		lag := math.Atan2(waves[k].sin, waves[k].cos) * 12 / math.Pi
		if math.Abs(amplitude-want.amplitude) > 0.015 || math.Abs(lag-want.lag) > 0.3 {
			t.Errorf("%.1f cm deep: amplitude %.3f, lag %.2f h; want %.3f, %.2f h", 100*depths[k], amplitude, lag, want.amplitude, want.lag)
		}
	}
}
