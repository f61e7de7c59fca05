package trunk

import (
	"math"
	"math/rand/v2"
	"testing"
)

// plain is wood whose two phases conduct and store alike, without bark.
func plain(radiusM, k, c, latent float64) Wood {
	return Wood{RadiusM: radiusM, BarkConductivity: 1, ThawedConductivity: k, FrozenConductivity: k,
		ThawedJM3K: c, FrozenJM3K: c, LatentJM3: latent, FreezingC: 0, FreezingRangeK: 0.01}
}

// held is a bark that is kept at a temperature.
func held(c float64) Bark { return Bark{TransferWM2K: 1e7, SolAirC: c} }

func TestCoolingCylinderFollowsBesselSeries(t *testing.T) {
	const radius, k, c = 0.15, 0.35, 2.3e6
	g := newGrid(plain(radius, k, c, 1), 60, 1, 20)
	s := g.NewStem(30)
	hours := 0.2 * radius * radius * c / k / 3600 // Fourier number 0.2
	for range int(hours) {
		g.Hour(s, held(20))
	}
	fo := float64(int(hours)) * 3600 * k / c / radius / radius
	// Carslaw and Jaeger, Conduction of Heat in Solids, sec. 7.6: zeros of J0
	// from memory.
	for i, r := range g.midM {
		want := 0.0
		for _, b := range []float64{2.40482556, 5.52007811, 8.65372791, 11.79153444, 14.93091771} {
			want += 2 * math.Exp(-b*b*fo) * math.J0(b*r/radius) / (b * math.J1(b))
		}
		if got := (g.wood.temperature(s[i]) - 20) / 10; math.Abs(got-want) > 0.002 {
			t.Errorf("at r/a %.2f: %.4f, want %.4f", r/radius, got, want)
		}
	}
}

func TestFreezingFrontFollowsNeumann(t *testing.T) {
	// Two-phase Neumann solution of a half-space (Carslaw and Jaeger ch. XI)
	// with k 2.0 and 0.6, C 2e6 and 4e6, latent heat 3e8, surface -10 °C,
	// initially +5 °C: lambda 0.16993832, front at 20.3926 mm after one hour,
	// 64.487 mm after ten. A stem of 5 m radius is nearly flat there.
	w := Wood{RadiusM: 5, BarkConductivity: 1, ThawedConductivity: 0.6, FrozenConductivity: 2,
		ThawedJM3K: 4e6, FrozenJM3K: 2e6, LatentJM3: 3e8, FreezingC: 0, FreezingRangeK: 0.02}
	g := newGrid(w, 400, 1.02, 360)
	s := g.NewStem(5)
	front := func() float64 {
		frozen := 0.0
		for i := range s {
			frozen += w.iceFraction(s[i]) * (g.edgeM[i] - g.edgeM[i+1])
		}
		return 1000 * frozen
	}
	for h := 1; h <= 10; h++ {
		g.Hour(s, held(-10))
		want := 2 * 0.1699383203 * math.Sqrt(1e-6*3600*float64(h)) * 1000
		if got := front(); math.Abs(got/want-1) > 0.02 {
			t.Errorf("front after %d h at %.2f mm, want %.2f", h, got, want)
		}
	}
	for depthMM, want := range map[float64]float64{10: -8.434722, 20: -6.871616, 60: -0.683856, 100: 1.860002} {
		i := 0
		for g.edgeM[0]-g.midM[i] < depthMM/1000 {
			i++
		}
		above, below := g.edgeM[0]-g.midM[i-1], g.edgeM[0]-g.midM[i]
		share := (depthMM/1000 - above) / (below - above)
		got := w.temperature(s[i-1]) + share*(w.temperature(s[i])-w.temperature(s[i-1]))
		if math.Abs(got-want) > 0.1 {
			t.Errorf("%.0f mm deep after ten hours: %.3f °C, want %.3f", depthMM, got, want)
		}
	}
}

func TestEnergyIsKeptThroughAnyForcing(t *testing.T) {
	g := NewGrid(SugarMaple(0.3))
	s := g.NewStem(-3)
	rng := rand.New(rand.NewPCG(1, 2))
	before, gained, scale := g.EnergyJ(s), 0.0, 0.0
	for range 24 * 150 {
		in := g.Hour(s, Bark{TransferWM2K: 3 + 40*rng.Float64(), SolAirC: -35 + 70*rng.Float64()})
		gained += in
		scale += math.Abs(in)
	}
	if off := math.Abs(g.EnergyJ(s)-before-gained) / scale; off > 1e-12 {
		t.Errorf("energy gained through the bark and stored differ by %.1e of what passed", off)
	}
	for i := range s {
		if c := g.wood.temperature(s[i]); c < -35 || c > 35 {
			t.Errorf("ring %d at %.1f °C, outside what the air ever was", i, c)
		}
	}
}

// The usual rings and steps against ones four times as fine, through a freeze
// and a thaw of the kind that makes sap run.
func TestUsualRingsAreFineEnough(t *testing.T) {
	w := SugarMaple(0.28)
	coarse, fine := NewGrid(w), newGrid(w, 4*rings, 1.035, 24)
	a, b := coarse.NewStem(0), fine.NewStem(0)
	worst := 0.0
	for h := range 24 * 14 {
		air := 1 + 7*math.Sin(2*math.Pi*float64(h)/24)
		bark := Bark{TransferWM2K: 12, SolAirC: air}
		coarse.Hour(a, bark)
		fine.Hour(b, bark)
		worst = max(worst, math.Abs(coarse.IceFraction(a)-fine.IceFraction(b)))
	}
	t.Logf("largest difference in ice fraction: %.3f", worst)
	if worst > 0.01 {
		t.Errorf("ice fraction differs by up to %.3f from that on fine rings", worst)
	}
}

func TestBranchAgreesWithFineSteps(t *testing.T) {
	w := SugarMaple(0.3)
	b := w.NewBranch(-8)
	for _, air := range []float64{-8, -2, 1, 5, 9, 4, -1, -6} {
		w.HourOfBranch(&b, Bark{25, air})
		if c := w.temperature(b.enthalpy); c < -8.01 || c > 9 {
			t.Errorf("branch at %.2f °C in air of %.0f", c, air)
		}
	}
	w.HourOfBranch(&b, Bark{25, -10})
	if w.BranchIceFraction(&b) != 1 {
		t.Errorf("a branch two hours below -6 °C is %.2f frozen", w.BranchIceFraction(&b))
	}
}

func TestConvection(t *testing.T) {
	// Churchill and Bernstein: a 0.3 m cylinder at 2 m/s in air at 0 °C has
	// Re 45113, Nu 129.0, h 10.45 W/m²/K (worked by hand; formula from memory).
	if h := ConvectionWM2K(0.3, 2); math.Abs(h-10.45) > 0.02 {
		t.Errorf("h = %.2f W/m²/K", h)
	}
	last := 0.0
	for wind := 0.0; wind < 30; wind += 0.3 {
		h := ConvectionWM2K(0.3, wind)
		if h < last {
			t.Fatalf("h falls at %.1f m/s", wind)
		}
		last = h
	}
}

func BenchmarkHour(b *testing.B) {
	g := NewGrid(SugarMaple(0.28))
	s := g.NewStem(0)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		g.Hour(s, Bark{12, 1 + 7*math.Sin(float64(i)*math.Pi/12)})
	}
}
