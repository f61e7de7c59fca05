package rounds

import (
	"math"
	"slices"
	"testing"
)

// What taps gave is found from what hangs, also where the best have run over.
func TestGaveUndoesHeld(t *testing.T) {
	for _, f := range []Fill{{Taps: 50, ContainerL: 7.5}, {Taps: 1, ContainerL: 15}, {Taps: 40, TankL: 900}, {Taps: 3}} {
		for perTap := 0.0; perTap < 13; perTap += 0.5 {
			if got, want := f.Gave(f.Held(perTap)), perTap*float64(f.Taps); math.Abs(got-want) > 1e-9 &&
				f.Held(perTap) < 7.4*float64(f.Taps) {
				t.Errorf("%+v: %.2f L hang, of %.2f given, not of %.2f", f, f.Held(perTap), want, got)
			}
		}
	}
	if got := (Fill{Taps: 10, ContainerL: 5}).Gave(50); got < 80 || math.IsInf(got, 0) {
		t.Errorf("of full pails %.1f L ran at least", got)
	}
}

// A word of how full pails are sets what hangs in every draw, and what has run since
// comes on top; trees that gave more than was thought go on to, in part. Where nobody
// knows what hangs there nothing is told.
func TestAWordSetsWhatHangs(t *testing.T) {
	made := func(containerL float64) Load {
		l := Load{Fill: Fill{Taps: 50, ContainerL: containerL}}
		for d := range 40 {
			l.HeldL, l.FlowL = append(l.HeldL, 0.2+0.2*float64(d)), append(l.FlowL, []float64{1})
		}
		return l
	}
	l, since := made(8), make([]float64, 40)
	since[3] = 1
	l.Tell(0.5, since)
	for d, held := range l.HeldL {
		if held -= since[d]; held < 2.9 || held > 5.6 {
			t.Errorf("draw %d: %.2f L hang in half full pails of 8 L", d, held)
		}
	}
	if l.FlowL[0][0] < 1.3 || l.FlowL[39][0] > 0.95 {
		t.Errorf("more goes on as %.2f, less as %.2f", l.FlowL[0][0], l.FlowL[39][0])
	}
	// Draws are spread evenly over the quarter that the word leaves open, and what ran more or
	// less than was thought goes on by the power of 0.3, half a litre aside.
	for _, share := range []float64{0, 0.5, 0.875, 1} {
		for _, tank := range []float64{0, 400} {
			l := made(8)
			if l.TankL = tank; tank > 0 {
				l.ContainerL = 0
			}
			was := slices.Clone(l.HeldL)
			l.Tell(share, since)
			var levels []float64
			for d, held := range l.HeldL {
				hangs := l.Held(held-since[d]) / (8 * 50)
				levels = append(levels, hangs)
				more := math.Pow((held-since[d]+0.5)/(max(was[d]-since[d], 0)+0.5), 0.3)
				if share == 1 {
					more = 1
				}
				if math.Abs(l.FlowL[d][0]-more) > 1e-9 {
					t.Errorf("%g full, draw %d: goes on as %.4f, not %.4f", share, d, l.FlowL[d][0], more)
				}
			}
			slices.Sort(levels)
			for d, level := range levels {
				want := min(max(share-0.125+0.25*(float64(d)+0.5)/40, 0), 0.99)
				if math.Abs(level-want) > 0.012 {
					t.Errorf("%g full, tank %g: level %d is %.3f, not about %.3f", share, tank, d, level, want)
				}
			}
		}
	}
	full := made(8)
	full.Tell(1, since)
	if full.FlowL[0][0] != 1 {
		t.Errorf("full pails say what ran: %.2f", full.FlowL[0][0])
	}
	unknown := made(0)
	unknown.Tell(0.5, since)
	if unknown.HeldL[39] != made(0).HeldL[39] {
		t.Error("half of an unknown size is a volume")
	}
}
