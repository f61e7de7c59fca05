package trunk

import (
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// opponent is the same stems written otherwise, in testdata/beside/numpy.
type opponent struct {
	name    string
	command []string
	within  float64 // of our ice
}

// opponentsHere are those that this machine has what they need for.
func opponentsHere(t testing.TB) []opponent {
	const python = "/usr/bin/python3" // Debian's, which has python3-numpy and python3-numba
	here := filepath.Join("..", "..", "testdata", "beside", "numpy")
	var out []opponent
	if exec.CommandContext(t.Context(), python, "-c", "import numpy").Run() == nil {
		plain := filepath.Join(here, "stems_out.py")
		out = append(out, opponent{"NumPy, no temporaries", []string{python, "-B", plain}, 1e-9},
			opponent{"NumPy, no temporaries, f32", []string{python, "-B", plain, "f32"}, 1e-6})
	}
	if exec.CommandContext(t.Context(), python, "-c", "import numba").Run() == nil {
		out = append(out, opponent{"numba", []string{python, "-B", filepath.Join(here, "stems_numba.py")}, 1e-9})
	}
	if cc, err := exec.LookPath("cc"); err == nil {
		for _, side := range []int{8, 16, 32} {
			program := filepath.Join(t.TempDir(), "stems")
			made := exec.CommandContext(t.Context(), cc, "-std=c11", "-O3", "-march=native", "-fno-math-errno", "-fno-trapping-math",
				fmt.Sprintf("-DL=%d", side), filepath.Join(here, "stems.c"), "-lm", "-o", program)
			if said, err := made.CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, said)
			}
			out = append(out, opponent{fmt.Sprintf("C, %d abreast", side), []string{program}, 1e-9})
		}
	}
	if len(out) == 0 {
		t.Skip("neither python3-numpy nor python3-numba nor a C compiler is installed")
	}
	return out
}

// run is how long it takes for a stem hour, and its ice in the end.
func (o *opponent) run(t testing.TB, stems, hours int) (ns, ice float64) {
	t.Helper()
	command := append([]string{}, o.command...)
	at := len(command)
	if at > 3 { // f32
		at = 3
	}
	command = append(command[:at:at], append([]string{strconv.Itoa(stems), strconv.Itoa(hours)}, command[at:]...)...)
	one := exec.CommandContext(t.Context(), command[0], command[1:]...)
	one.Env = []string{"OMP_NUM_THREADS=1"}
	said, err := one.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", o.name, err, said)
	}
	var rate float64
	if _, err := fmt.Sscanf(string(said), "%f stem hours/s, %f ns each, mean ice %f", &rate, &ns, &ice); err != nil {
		t.Fatalf("%v in %q", err, said)
	}
	return 1e9 / rate, ice
}

// Every opponent comes to the same ice, so that it is the same work that is timed.
func TestOpponentsComeToTheSameIce(t *testing.T) {
	const stems, hours = 40, 96
	want := stemsThrough(drivenStems(stems, hours), stems, hours)
	for _, o := range opponentsHere(t) {
		if _, got := o.run(t, stems, hours); math.Abs(got-want) > o.within {
			t.Errorf("%s: mean ice %.12f, want %.12f", o.name, got, want)
		}
	}
}

// One core's stem hour beside the best that others make of it on the same machine in the same
// run: their time by ours. Each is timed in pieces of a millisecond or less, of which the
// best of nine count: others may use the machine.
func BenchmarkBesideOthers(b *testing.B) {
	const stems, hours, repeats = 5104, 48, 9
	few := 2 * lanes
	all := drivenStems(stems, hours)
	own := math.Inf(1)
	for b.Loop() {
		spent := time.Duration(0)
		for first := 0; first < stems; first += few {
			best := time.Duration(math.MaxInt64)
			for range repeats {
				begun := time.Now()
				stemsThrough(all[first/lanes*hours:], few, hours)
				best = min(best, time.Since(begun))
			}
			spent += best
		}
		own = min(own, float64(spent.Nanoseconds())/stems/hours)
	}
	b.ReportMetric(own, "ns/stem-hour")
	for _, o := range opponentsHere(b) {
		ns := math.Inf(1)
		for range 3 {
			one, _ := o.run(b, stems, hours)
			ns = min(ns, one)
		}
		b.Logf("%s: %.0f ns a stem hour, %.2f times ours of %.0f", o.name, ns, ns/own, own)
	}
}
