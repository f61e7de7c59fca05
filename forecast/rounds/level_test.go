package rounds

import (
	"math"
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
