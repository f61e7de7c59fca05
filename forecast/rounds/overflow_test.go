package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

func steady(lPerHour float64, hours int) []float64 {
	out := make([]float64, hours)
	for i := range out {
		out[i] = lPerHour
	}
	return out
}

func TestOverflows(t *testing.T) {
	start := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	f := Fill{Taps: 100, ContainerL: 7.7, Start: start, FlowL: [][]float64{steady(1, 10), steady(0.1, 10)}, HeldL: []float64{0, 0}}
	o := f.Overflows()
	// The best fifth fills 1.54 times as fast: over 7.7 L during the sixth hour.
	if o.Probability != 0.5 || !o.ExpectedAt.Equal(start.Add(5*time.Hour)) {
		t.Errorf("%+v", o)
	}
	want := 0.0
	for _, share := range tapSpread {
		want += max(10*share-7.7, 0) * 20
	}
	if math.Abs(o.LossL-want/2) > 1e-9 {
		t.Errorf("loss %.2f L, want %.2f", o.LossL, want/2)
	}

	tank := Fill{Taps: 100, TankL: 450, Start: start, FlowL: [][]float64{steady(1, 10)}, HeldL: []float64{2}}
	if o := tank.Overflows(); o.Probability != 1 || !o.ExpectedAt.Equal(start.Add(2*time.Hour)) || math.Abs(o.LossL-750) > 1e-9 {
		t.Errorf("tank: %+v", o)
	}
	if o := (Fill{Taps: 10, Start: start, FlowL: [][]float64{steady(9, 5)}, HeldL: []float64{0}}).Overflows(); o.Probability != 0 {
		t.Errorf("no container: %+v", o)
	}
}

// Overflows is what every fifth of the taps, or the tank, comes to hour by hour.
func TestOverflowsTapByTap(t *testing.T) {
	start := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	rng := rand.New(rand.NewPCG(9, 9))
	for n := range 400 {
		f := Fill{Taps: 1 + rng.IntN(80), Start: start}
		switch n % 3 {
		case 0:
			f.ContainerL = 4 + 8*rng.Float64()
		case 1:
			f.TankL = float64(f.Taps) * (3 + 5*rng.Float64())
		}
		lost, first := 0.0, []int{}
		for range 1 + n%6 {
			flow := make([]float64, 30)
			rate, held := rng.Float64(), 9*rng.Float64()
			f.HeldL = append(f.HeldL, held)
			for h := range flow {
				flow[h] = rate * rng.Float64()
			}
			f.FlowL = append(f.FlowL, flow)
			beyond := func() (sum float64) {
				if f.TankL > 0 {
					return max(held*float64(f.Taps)-f.TankL, 0)
				}
				for _, share := range tapSpread {
					if f.ContainerL > 0 {
						sum += max(held*share-f.ContainerL, 0) * float64(f.Taps) / 5
					}
				}
				return sum
			}
			at := -1
			began := beyond()
			for h, q := range flow {
				if held += q; at < 0 && beyond() > 0 {
					at = h
				}
			}
			if lost += beyond() - began; at >= 0 {
				first = append(first, at)
			}
			if got := f.Held(held); math.Abs(got-(held*float64(f.Taps)-beyond())) > 1e-9 {
				t.Fatalf("%+v holds %.3f L", f, got)
			}
			if over := f.over(held); (over > 0) != f.runsOver(held) || math.Abs(over-beyond()) > 1e-9 {
				t.Fatalf("%+v runs over: %t, %.3f L", f, f.runsOver(held), over)
			}
		}
		slices.Sort(first)
		o := f.Overflows()
		if math.Abs(o.Probability-float64(len(first))/float64(len(f.FlowL))) > 1e-12 || math.Abs(o.LossL-lost/float64(len(f.FlowL))) > 1e-9 {
			t.Fatalf("%+v, and %d of %d run over, %.3f L", o, len(first), len(f.FlowL), lost)
		}
		if len(first) == 0 && !o.ExpectedAt.IsZero() ||
			len(first) > 0 && !o.ExpectedAt.Equal(start.Add(time.Duration(first[len(first)/2])*time.Hour)) {
			t.Fatalf("%s, and they run over after %v hours", o.ExpectedAt, first)
		}
	}
	if o := (Fill{Taps: 5, ContainerL: 3}).Overflows(); o != (Overflow{}) {
		t.Errorf("of no draws %+v", o)
	}
	full := Fill{Taps: 5, ContainerL: 1.54}
	if full.runsOver(1) || (Fill{Taps: 5, TankL: 5}).runsOver(1) {
		t.Error("what is full to the brim runs over")
	}
}

func TestTankHoldsWhatItHolds(t *testing.T) {
	f := Fill{Taps: 100, TankL: 1000}
	if held := f.Held(20); held != 1000 {
		t.Errorf("a tank of 1000 L holds %.0f L", held)
	}
}

// In a cold clean tank sap keeps for the week that the rule speaks of, and no longer
// (extension rule, from memory).
func TestSapKeepsAWeekAtMost(t *testing.T) {
	from := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	if kept := BoilBy(from, 0, steady(0.2, 48), 36, TankHygiene).Sub(from); kept != 7*24*time.Hour {
		t.Errorf("ice cold sap keeps for %s", kept)
	}
}

func TestTapSpreadHasMeanOne(t *testing.T) {
	sum := 0.0
	for _, x := range tapSpread {
		sum += x / float64(len(tapSpread))
	}
	if math.Abs(sum-1) > 1e-12 {
		t.Errorf("mean %.4f", sum)
	}
}
