package trunk

import (
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
)

// driven is what drives a stem in testdata/beside/numpy/stems.py too.
func driven(stem, hour int) (transfer, solAir float64) {
	air := 1 + 7*math.Sin(2*math.Pi*float64(hour-9)/24) + 2*math.Sin(float64(stem))
	return 8 + 2*math.Cos(float64(stem+hour)), air
}

// stemsThrough follows stems through hours and returns their mean ice at the
// end. The weather stands ready, as there.
func stemsThrough(b []barks, stems, hours int) float64 {
	g := NewGrid(SugarMaple(0.3))
	sides := []*abreast{g.newAbreast(), g.newAbreast()}
	start := g.NewStem(-0.2)
	ice := 0.0
	for first := 0; first < stems; first += len(sides) * lanes {
		for l := range len(sides) * lanes {
			sides[l/lanes].load(l%lanes, start)
		}
		for hour := range hours {
			of := [2]barks{b[first/lanes*hours+hour], b[(first/lanes+1)*hours+hour]}
			g.hourAbreast(sides, &of)
			for k, a := range sides {
				var frozen [lanes]float64
				readAbreast(a, g.tapped, &frozen)
				for l := range lanes {
					if hour == hours-1 && first+k*lanes+l < stems {
						ice += frozen[l] / float64(stems)
					}
				}
			}
		}
	}
	return ice
}

func drivenStems(stems, hours int) []barks {
	out := make([]barks, (stems+2*lanes-1)/(2*lanes)*2*hours)
	for i := range out {
		for l := range lanes {
			out[i].transfer[l], out[i].solAir[l] = driven(i/hours*lanes+l, i%hours)
		}
	}
	return out
}

// The same model written with NumPy, from its own source, comes to the same ice.
func TestSameIceAsWithNumPy(t *testing.T) {
	const python = "/usr/bin/python3" // Debian's, which has python3-numpy
	if err := exec.CommandContext(t.Context(), python, "-c", "import numpy").Run(); err != nil {
		t.Skip("python3-numpy is not installed")
	}
	const stems, hours = 40, 96
	out, err := exec.CommandContext(t.Context(), python, filepath.Join("..", "..", "testdata", "beside", "numpy", "stems.py"),
		strconv.Itoa(stems), strconv.Itoa(hours)).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var rate, each, ice float64
	if _, err := fmt.Sscanf(string(out), "%f stem hours/s, %f ns each, mean ice %f", &rate, &each, &ice); err != nil {
		t.Fatalf("%v in %q", err, out)
	}
	if got := stemsThrough(drivenStems(stems, hours), stems, hours); math.Abs(got-ice) > 1e-9 {
		t.Errorf("mean ice %.12f, with NumPy %.12f", got, ice)
	}
}

// As many stem hours as stems.py is timed with: one core, and all.
func BenchmarkBesideNumPy(b *testing.B) {
	const stems, hours = 5104, 48
	all := drivenStems(stems, hours)
	b.Run("one core", func(b *testing.B) {
		for b.Loop() {
			stemsThrough(all, stems, hours)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/stems/hours, "ns/stem-hour")
	})
	b.Run("all cores", func(b *testing.B) {
		b.RunParallel(func(pb *testing.PB) {
			for pb.Next() {
				stemsThrough(all, stems, hours)
			}
		})
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/stems/hours, "ns/stem-hour")
	})
}
