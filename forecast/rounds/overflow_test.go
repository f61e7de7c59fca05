package rounds

import (
	"math"
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
