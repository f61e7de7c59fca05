package rounds

import "testing"

// What ran over before now is lost whoever goes: a full pail into which next to nothing runs is
// no risk, one into which more than a tenth of a litre runs is.
func TestWhatRanOverIsNoReasonToGo(t *testing.T) {
	for _, c := range []struct {
		flowL, risk float64
	}{{0, 0}, {0.09, 0}, {0.2, 1}} {
		req := &PlanRequest{AirC: [][]float64{make([]float64, 24)}}
		flow := make([]float64, 24)
		flow[12] = c.flowL
		one := Load{Fill: Fill{Taps: 100, TankL: 500, HeldL: []float64{6}, FlowL: [][]float64{flow}}}
		req.Groups = []TapGroup{{ID: "a", Load: one}}
		b := tableOf(&req.Groups[0], weatherOf(req), 0.1, []int{9}, new(scratch)).at(-1, 1)
		if b.risk != c.risk || (b.late > 0) != (c.risk > 0) {
			t.Errorf("%.2f L into a full tank: risk %.1f, late %.1f", c.flowL, b.risk, b.late)
		}
	}
}

// Who can wait goes after the thaw: pails that are full of ice until the third day, and run over on the
// fourth, are gathered on the third and not in the frost before; where nobody is free then, in the frost.
func TestWaitsForTheThaw(t *testing.T) {
	for _, c := range []struct {
		free []int // days
		want float64
	}{{[]int{0, 1, 2, 3}, 48}, {[]int{0, 1}, 0}} {
		req := days(4, [2]float64{9, 17})
		helper := &req.Helpers[0]
		free := helper.Free
		helper.Free = nil
		for _, day := range c.free {
			helper.Free = append(helper.Free, free[day])
		}
		l := &req.Groups[0]
		l.Taps, l.HeldL[0], l.IceL = 120, 4.2, []float64{2.5}
		for h := range req.AirC[0] {
			req.AirC[0][h] = -1
			if h >= 48 {
				req.AirC[0][h] = 8
			}
			if h >= 76 && h < 84 {
				l.FlowL[0][h] = 0.25
			}
		}
		plan := PlanRounds(req)
		if len(plan.Rounds) == 0 || plan.Rounds[0].Start.Sub(midnight).Hours() < c.want {
			t.Errorf("free on %v: %+v", c.free, plan.Rounds)
		}
	}
}
