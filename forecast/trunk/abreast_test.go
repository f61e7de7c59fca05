package trunk

import (
	"math/rand/v2"
	"testing"
)

// Stems abreast give to the last bit what each gives alone, through frost, thaw
// and all between: as this processor does it, and in plain Go.
func TestAbreastIsAloneToTheLastBit(t *testing.T) {
	for name, step := range map[string]func(*abreast, *barks){
		"this processor": stepAbreast,
		"plain":          func(a *abreast, b *barks) { stepLanes(a, b, 0); stepLanes(a, b, 4) },
	} {
		t.Run(name, func(t *testing.T) {
			g := NewGrid(SugarMaple(0.3))
			rng := rand.New(rand.NewPCG(1, 2))
			a := g.newAbreast()
			var alone [lanes]Stem
			for l := range lanes {
				alone[l] = g.NewStem(-3 + 2*float64(l))
				a.load(l, alone[l])
			}
			air := [lanes]float64{-4, 0, 2, -0.2, 9, -12, 0.5, -1}
			for hour := range 5000 {
				var b barks
				for l := range lanes {
					air[l] = 0.97*air[l] + 0.8*rng.NormFloat64()
					one := Bark{TransferWM2K: 3 + 20*rng.Float64(), SolAirC: air[l] + 4*rng.Float64()}
					b.transfer[l], b.solAir[l] = one.TransferWM2K, one.SolAirC
					g.Hour(alone[l], one)
				}
				for range g.steps {
					step(a, &b)
				}
				for l := range lanes {
					for i, h := range alone[l] {
						if a.rings[i].h[l] != h {
							t.Fatalf("hour %d, stem %d, ring %d: %v abreast, %v alone", hour, l, i, a.rings[i].h[l], h)
						}
					}
					if ice := g.hourOf(a, l).StemIce; ice != g.IceFraction(alone[l]) {
						t.Fatalf("hour %d, stem %d: %v of it ice abreast, %v alone", hour, l, ice, g.IceFraction(alone[l]))
					}
				}
			}
		})
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
	a := g.newAbreast()
	var bark barks
	for l := range lanes {
		a.load(l, g.NewStem(-1))
	}
	i := 0
	for b.Loop() {
		i++
		for l := range lanes {
			bark.transfer[l], bark.solAir[l] = 8, float64(i%48)/4-6+float64(l%4)/2
		}
		g.hourAbreast(a, &bark)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/lanes, "ns/stem-hour")
}
