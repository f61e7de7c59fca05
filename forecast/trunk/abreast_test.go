package trunk

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// Stems abreast give to the last bit what each gives alone, through frost, thaw
// and all between: eight and sixteen, as this processor does it, and in plain Go.
func TestAbreastIsAloneToTheLastBit(t *testing.T) {
	for _, c := range []struct {
		name  string
		sides int
		step  func([]*abreast, *[2]barks)
		read  func(*abreast, int, *[lanes]float64)
	}{
		{"eight on this processor", 1, stepAbreast, readAbreast},
		{"sixteen on this processor", 2, stepAbreast, readAbreast},
		{"sixteen in plain Go", 2, stepPlain, readLanes},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := NewGrid(SugarMaple(0.3))
			rng := rand.New(rand.NewPCG(1, 2))
			sides := make([]*abreast, c.sides)
			for k := range sides {
				sides[k] = g.newAbreast()
			}
			alone, air := make([]Stem, lanes*c.sides), make([]float64, lanes*c.sides)
			for l := range alone {
				alone[l], air[l] = g.NewStem(-3+2*float64(l)), -12+1.4*float64(l)
				sides[l/lanes].load(l%lanes, alone[l])
			}
			for hour := range 5000 {
				var b [2]barks
				for l := range alone {
					air[l] = 0.97*air[l] + 0.8*rng.NormFloat64()
					one := Bark{TransferWM2K: 3 + 20*rng.Float64(), SolAirC: air[l] + 4*rng.Float64()}
					b[l/lanes].transfer[l%lanes], b[l/lanes].solAir[l%lanes] = one.TransferWM2K, one.SolAirC
					g.Hour(alone[l], one)
				}
				for range g.steps {
					c.step(sides, &b)
				}
				for k, a := range sides {
					var ice [lanes]float64
					c.read(a, g.tapped, &ice)
					for l, stem := range alone[k*lanes : (k+1)*lanes] {
						for i, h := range stem {
							if a.rings[i].h[l] != h {
								t.Fatalf("hour %d, stem %d, ring %d: %v abreast, %v alone", hour, k*lanes+l, i, a.rings[i].h[l], h)
							}
						}
						if ice[l] != g.IceFraction(stem) {
							t.Fatalf("hour %d, stem %d: %v of it ice abreast, %v alone", hour, k*lanes+l, ice[l], g.IceFraction(stem))
						}
					}
				}
			}
		})
	}
}

// Members that go abreast are to the last bit what each is alone, however many: all that
// a tree's hour holds.
func TestMembersAreAloneToTheLastBit(t *testing.T) {
	const hours = 2*blockHours + 5
	place := weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	rng := rand.New(rand.NewPCG(3, 4))
	members := make([]weather.Series, 19)
	for m := range members {
		members[m] = weather.NewSeries(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), hours)
		for i := range hours {
			members[m].Col(weather.TemperatureC)[i] = -4 + 8*rng.Float64() + float64(m%5)
		}
		members[m].Complete(place)
	}
	suns := weather.Suns(&members[0], place)
	for _, n := range []int{1, 8, 9, 16, 17, 19} {
		tree := NewTree(0.3, Exposed(Closed, math.NaN()), place)
		states, out := make([]State, n), make([][]Hour, n)
		for m := range states {
			states[m], out[m] = tree.Rest(float64(m)-3), make([]Hour, hours)
		}
		tree.RunMembers(states, members[:n], suns, out)
		for m := range states {
			alone, want := tree.Rest(float64(m)-3), make([]Hour, hours)
			tree.Run(&alone, &members[m], suns, want)
			if !slices.Equal(out[m], want) || !slices.Equal(states[m].stem, alone.stem) || states[m].branch != alone.branch {
				t.Errorf("member %d of %d is not what it is alone", m, n)
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
	for n := 1; n <= 2; n++ {
		b.Run(fmt.Sprintf("%d stems", n*lanes), func(b *testing.B) {
			sides := make([]*abreast, n)
			var bark [2]barks
			for k := range sides {
				sides[k] = g.newAbreast()
				for l := range lanes {
					sides[k].load(l, g.NewStem(-1))
				}
			}
			i := 0
			for b.Loop() {
				i++
				for k := range sides {
					for l := range lanes {
						bark[k].transfer[l], bark[k].solAir[l] = 8, float64(i%48)/4-6+float64(l%4)/2
					}
				}
				g.hourAbreast(sides, &bark)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n*lanes), "ns/stem-hour")
		})
	}
}

// Half as many steps an hour change the ice of a wood that freezes by night and thaws by
// day by less than a hundredth in the mean.
func TestCoarseTreesAreNear(t *testing.T) {
	const hours = 40 * 24
	place := weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}
	air := weather.NewSeries(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), hours)
	for i := range hours {
		air.Col(weather.TemperatureC)[i] = 1 + 7*math.Sin(2*math.Pi*float64(i-9)/24) + 4*math.Sin(float64(i)/60)
	}
	air.Complete(place)
	suns := weather.Suns(&air, place)
	fine := NewTree(0.3, Exposed(Closed, math.NaN()), place)
	run := func(tree *Tree) []Hour {
		states, out := []State{fine.Rest(-2)}, [][]Hour{make([]Hour, hours)}
		tree.RunMembers(states, []weather.Series{air}, suns, out)
		return out[0]
	}
	two, one, off := run(fine), run(fine.Coarse()), 0.0
	for i := range two {
		off += math.Abs(two[i].StemIce-one[i].StemIce) / hours
	}
	if off > 0.01 || off == 0 {
		t.Errorf("ice is off by %.4f in the mean", off)
	}
}

// A stem of no width has no tapped ring: it reads as no ice, and not beyond its rings.
func TestAStemOfNoWidthIsRead(t *testing.T) {
	g := NewGrid(SugarMaple(0))
	a, ice := g.newAbreast(), [lanes]float64{1, 1}
	if readAbreast(a, g.tapped, &ice); g.tapped != 0 || ice != [lanes]float64{} {
		t.Errorf("%d tapped rings, %v of them ice", g.tapped, ice)
	}
}
