package rounds

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"
)

// againstNaive plans random bushes and has all sequences enumerated beside. Those that
// would be better by no more than a share are let pass.
func againstNaive(t *testing.T, cases, groups, helpers int, share float64) {
	t.Helper()
	proven, late, rounds := 0, 0, 0
	for seed := range uint64(cases) {
		req := randomBush(seed, groups, helpers)
		plan := PlanRounds(req)
		holds(t, &req, &plan)
		cost := plan.CostL + overRiskL*plan.LateHours
		limit := cost / (1 + share)
		if share == 0.01 {
			limit = cost + 1e-3 // to see that it finds the plan, too
		}
		best := naiveBest(&req, limit)
		if cost > best*(1+share)+1e-6 {
			t.Errorf("seed %d, %d groups, %d helpers: the plan costs %.2f L and %.2f tap-hours too late, of all sequences the best %.2f together (%.2f of the plan)",
				seed, groups, helpers, plan.CostL, plan.LateHours, best, best/cost)
		}
		if whole(&plan) && share == 0.01 && best > cost+1e-3 {
			t.Errorf("seed %d, %d groups, %d helpers: the plan costs %.2f, yet no sequence less than %.2f", seed, groups, helpers, cost,
				best)
		}
		if plan.Proven {
			proven++
		}
		if plan.LateHours > 0 {
			late++
		}
		rounds += len(plan.Rounds)
	}
	t.Logf("%d groups, %d helpers: %d bushes, %d proven, %d beyond the accepted risk, %.1f rounds", groups, helpers, cases, proven,
		late, float64(rounds)/float64(cases))
}

// whole says whether no group was split.
func whole(plan *Plan) bool {
	for _, r := range plan.Rounds {
		for _, g := range r.Groups {
			if g.Share < 1 {
				return false
			}
		}
	}
	return true
}

// holds checks what no plan may break.
func holds(t *testing.T, req *PlanRequest, plan *Plan) {
	t.Helper()
	inside := func(r *Round, spans []Span) bool {
		return slices.ContainsFunc(spans, func(s Span) bool { return !r.Start.Before(s.From) && !r.End.After(s.To) })
	}
	for _, pin := range req.Pins {
		k := slices.IndexFunc(plan.Rounds,
			func(r Round) bool { return r.Pinned && r.Start.Equal(pin.Start) && slices.Equal(r.Who, pin.Who) })
		if k < 0 {
			t.Errorf("no round of %v at %s", pin.Who, pin.Start)
			continue
		}
		for _, id := range pin.Groups {
			if !slices.ContainsFunc(plan.Rounds[k].Groups,
				func(g GroupLoad) bool { return g.Group == id && g.Share > 1-1e-9 && g.Why == WhyPinned }) {
				t.Errorf("%v go at %s, but not to all of %s: %+v", pin.Who, pin.Start, id, plan.Rounds[k])
			}
		}
	}
	busy := map[string]time.Time{}
	content, at := req.Store.HeldL, 0
	for k := range plan.Rounds {
		r := &plan.Rounds[k]
		sap := 0.0
		for _, g := range r.Groups {
			sap += g.MeanL
			if g.Share > 1+1e-9 || g.LowL > g.MidL+1e-9 || g.MidL > g.HighL+1e-9 || r.Start.After(g.Latest) {
				t.Errorf("%s %+v", r.Start, g)
			}
			for n := range req.Groups {
				if l := &req.Groups[n]; l.ID == g.Group && l.ContainerL > 0 && g.HighL > l.ContainerL*float64(l.Taps)+1e-6 {
					t.Errorf("%s: %.0f L of containers that hold %.0f", g.Group, g.HighL, l.ContainerL*float64(l.Taps))
				}
			}
		}
		if trips := max(int(math.Ceil(sap/req.Costs.CarryL-1e-9)), 1); req.Costs.CarryL > 0 && r.Trips != trips {
			t.Errorf("%s: %d trips for %.0f L in a tank of %.0f", r.Start, r.Trips, sap, req.Costs.CarryL)
		}
		for _, id := range r.Who {
			h := &req.Helpers[slices.IndexFunc(req.Helpers, func(h Helper) bool { return h.ID == id })]
			if !r.Pinned && (!inside(r, h.Free) || r.Start.Before(busy[id]) ||
				slices.ContainsFunc(h.Away, func(s Span) bool { return r.Start.Before(s.To) && r.End.After(s.From) })) {
				t.Errorf("%s is not free for %s to %s", id, r.Start, r.End)
			}
			busy[id] = r.End
		}
		if !r.Pinned && (!inside(r, req.Daylight) || r.Start.Before(req.Now) || len(r.Groups) == 0 || len(r.Who) > 2) {
			t.Errorf("round %+v", r)
		}
		minute := int(r.Start.Sub(req.Start) / time.Minute)
		for ; at < minute/60 && req.Store.CapacityL > 0; at++ {
			content = max(content-req.Store.BoiledL[at], 0)
		}
		content += sap
		if req.Store.CapacityL > 0 && content > req.Store.CapacityL+1e-6 {
			if !r.Pinned {
				t.Errorf("%s: %.0f L in a store of %.0f", r.Start, content, req.Store.CapacityL)
			}
			content = req.Store.CapacityL
		}
	}
}

// A thousand bushes of one group or two, against all sequences.
func TestPlanAgainstAllSequences(t *testing.T) {
	cases := []int{0, 167, 167, 166}
	if testing.Short() {
		cases = []int{0, 20, 20, 20}
	}
	for groups := 1; groups <= 2; groups++ {
		for helpers := 1; helpers <= 3; helpers++ {
			t.Run(fmt.Sprint(groups, " groups ", helpers, " helpers"), func(t *testing.T) {
				t.Parallel()
				againstNaive(t, cases[helpers], groups, helpers, 0.01)
			})
		}
	}
}

func TestThreeGroupsAgainstAllSequences(t *testing.T) {
	cases := 60
	if testing.Short() {
		cases = 8
	}
	for helpers := 1; helpers <= 2; helpers++ {
		t.Run(fmt.Sprint(helpers, " helpers"), func(t *testing.T) {
			t.Parallel()
			againstNaive(t, cases, 3, helpers, 0.03)
		})
	}
}

func TestLargePlansHold(t *testing.T) {
	for _, n := range []int{6, 20, 60} {
		req := largeBush(n, 3+n/10, 5)
		plan := PlanRounds(req)
		holds(t, &req, &plan)
		if plan.LossL > 0.6*plan.LossWithoutL || len(plan.Rounds) < 4 {
			t.Errorf("%d groups: %d rounds, %.0f of %.0f L lost", n, len(plan.Rounds), plan.LossL, plan.LossWithoutL)
		}
		if again := PlanRounds(req); fmt.Sprint(again) != fmt.Sprint(plan) {
			t.Errorf("%d groups: planned again, the plan is another", n)
		}
	}
}

// Where there are more outings than can be tried, and none of those kept does better than
// the search, its plan stands.
func TestTooManyOutingsLeaveAPlan(t *testing.T) {
	for seed := range uint64(40) {
		req := randomBush(seed, 5, 2)
		plan := PlanRounds(req)
		holds(t, &req, &plan)
	}
}

// A few groups, named helpers: what is worked out exactly, or as far as tries go.
func BenchmarkPlanSmallBushes(b *testing.B) {
	for _, c := range [][2]int{{3, 2}, {5, 2}, {6, 3}} {
		b.Run(fmt.Sprintf("%d groups %d helpers", c[0], c[1]), func(b *testing.B) {
			const bushes = 40
			var reqs []PlanRequest
			for seed := range uint64(bushes) {
				reqs = append(reqs, randomBush(seed, c[0], c[1]))
			}
			for n := 0; b.Loop(); n++ {
				PlanRounds(reqs[n%bushes])
			}
		})
	}
}

// A week for twenty groups, five days for a club with two hundred.
func BenchmarkPlanRounds(b *testing.B) {
	for _, c := range []struct{ groups, helpers, days int }{{2, 2, 5}, {6, 7, 5}, {20, 4, 7}, {200, 12, 7}} {
		b.Run(fmt.Sprintf("%d groups %d helpers %d days", c.groups, c.helpers, c.days), func(b *testing.B) {
			req := largeBush(c.groups, c.helpers, c.days)
			b.ReportAllocs()
			for b.Loop() {
				PlanRounds(req)
			}
		})
	}
}
