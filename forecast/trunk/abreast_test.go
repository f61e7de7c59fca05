package trunk

import (
	"math/rand/v2"
	"testing"
)

// Stems abreast give to the last bit what each gives alone, through frost, thaw
// and all between.
func TestAbreastIsAloneToTheLastBit(t *testing.T) {
	g := NewGrid(SugarMaple(0.3))
	rng := rand.New(rand.NewPCG(1, 2))
	a := newAbreast(len(g.volume))
	var alone [lanes]Stem
	for l := range lanes {
		alone[l] = g.NewStem(-3 + 2*float64(l))
		a.load(l, alone[l])
	}
	air := [lanes]float64{-4, 0, 2, -0.2}
	for hour := range 5000 {
		var b [lanes]Bark
		for l := range lanes {
			air[l] = 0.97*air[l] + 0.8*rng.NormFloat64()
			b[l] = Bark{TransferWM2K: 3 + 20*rng.Float64(), SolAirC: air[l] + 4*rng.Float64()}
			g.Hour(alone[l], b[l])
		}
		g.hourAbreast(a, &b)
		for l := range lanes {
			for i, h := range alone[l] {
				if a.h[i][l] != h {
					t.Fatalf("hour %d, stem %d, ring %d: %v abreast, %v alone", hour, l, i, a.h[i][l], h)
				}
			}
		}
	}
}

func BenchmarkHourAlone(b *testing.B) {
	g := NewGrid(SugarMaple(0.3))
	s := g.NewStem(-1)
	i := 0
	for b.Loop() {
		i++
		g.Hour(s, Bark{8, float64(i%48)/4 - 6})
	}
}

func BenchmarkHourAbreast(b *testing.B) {
	g := NewGrid(SugarMaple(0.3))
	a := newAbreast(len(g.volume))
	for l := range lanes {
		a.load(l, g.NewStem(-1))
	}
	i := 0
	for b.Loop() {
		i++
		v := float64(i%48)/4 - 6
		g.hourAbreast(a, &[lanes]Bark{{8, v}, {8, v + 1}, {8, v - 1}, {8, v + 0.5}})
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/lanes, "ns/stem-hour")
}
