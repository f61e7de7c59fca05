package verify

import (
	"context"
	"testing"
)

// What the parts of the model are worth on the tap logs of 2013 and 2014 (CC0,
// Baumer et al.): each of sun, phase change and the wood itself must earn its
// keep in both seasons, wind and the ice in pails over the two together.
func TestAblations(t *testing.T) {
	w := forestHours(t)
	score := func(o SapOptions) (both [2]float64) {
		for i, year := range []int{2013, 2014} {
			r, err := BacktestSap(context.Background(), &w, tapLog(t, year), nil, o)
			if err != nil {
				t.Fatal(err)
			}
			both[i] = r.Spearman
		}
		return both
	}
	o := hillOptions(t)
	o.WarmerK = 0.58
	whole := score(o)
	t.Logf("whole model   rank correlation %.2f and %.2f", whole[0], whole[1])
	for _, part := range Parts() {
		less := o
		if err := less.Without.Leave(part); err != nil {
			t.Fatal(err)
		}
		s := score(less)
		t.Logf("without %s   %.2f and %.2f", part, s[0], s[1])
		// What the sun adds on one season the learnt offset makes up for: it counts over both,
		// as far as 45 visits tell (ice in the pails, -0.01).
		each := part == "phase-change" || part == "wood"
		if each && (s[0] > whole[0]-0.05 || s[1] > whole[1]-0.05) || s[0]+s[1] > whole[0]+whole[1]+0.02 {
			t.Errorf("without %s the visits are ranked as well or better", part)
		}
	}
}

func TestUnknownPart(t *testing.T) {
	var w Without
	if err := w.Leave("wnd"); err == nil || err.Error() != `wnd is no part of the model; did you mean "wind"?` {
		t.Error(err)
	}
}
