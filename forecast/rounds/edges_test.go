package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// What fits to the minute, to the litre of the store and to the litre of what is carried is done,
// and not what is a little more.
func TestToTheMinuteAndTheLitre(t *testing.T) {
	// 40 pails of 2.5 L that will be too old by the evening.
	bush := func(from, to float64, helpers int) PlanRequest {
		free := make([][2]float64, helpers)
		for k := range free {
			free[k] = [2]float64{from, to}
		}
		req := days(1, free...)
		req.Groups[0].HeldL[0], req.Groups[0].AgeUsed, req.Costs.MaxAge = 2.5, 0.95, 1
		return req
	}
	for name, c := range map[string]struct {
		req    PlanRequest
		change func(req *PlanRequest)
		rounds int
	}{
		"an hour":                {bush(9, 10, 1), func(*PlanRequest) {}, 1},
		"a minute less":          {bush(9, 10, 1), func(req *PlanRequest) { req.Groups[0].Minutes = 41 }, 0},
		"two, half of that":      {bush(9, 10, 2), func(req *PlanRequest) { req.Groups[0].Minutes = 80 }, 1},
		"two, a minute less":     {bush(9, 10, 2), func(req *PlanRequest) { req.Groups[0].Minutes = 81 }, 0},
		"a tank takes two alike": {bush(9, 10, 2), func(req *PlanRequest) { req.Groups[0].TankL, req.Groups[0].Minutes = 300, 41 }, 0},
		"a tank for one":         {bush(9, 10, 1), func(req *PlanRequest) { req.Groups[0].TankL = 300 }, 1},
		"one trip":               {bush(9, 10, 1), func(req *PlanRequest) { req.Costs.CarryL = 100 }, 1},
		"two trips are too long": {bush(9, 10, 1), func(req *PlanRequest) { req.Costs.CarryL = 99 }, 0},
		"two trips":              {bush(9, 10, 1), func(req *PlanRequest) { req.Costs.CarryL, req.Groups[0].Minutes = 50, 20 }, 1},
		"the store":              {bush(9, 10, 1), func(req *PlanRequest) { req.Store.CapacityL = 400; req.Store.HeldL = 300 }, 1},
		"a litre too full":       {bush(9, 10, 1), func(req *PlanRequest) { req.Store.CapacityL = 400; req.Store.HeldL = 301 }, 0},
		"but for the pan":        {bush(9, 10, 1), func(req *PlanRequest) { req.Store = Store{400, 301, []float64{0, 0, 0, 0, 0, 1}} }, 1},
		"that boils too late":    {bush(9, 10, 1), func(req *PlanRequest) { req.Store = Store{400, 301, []float64{9: 1}} }, 0},
		"worth it":               {bush(9, 10, 1), func(req *PlanRequest) { req.Costs.TripWorthL = 95.9 }, 1},
		"not worth it":           {bush(9, 10, 1), func(req *PlanRequest) { req.Costs.TripWorthL = 96.1 }, 0},
		"nor the walk":           {bush(9, 10, 1), func(req *PlanRequest) { req.Costs.WalkWorthL = 1.9 }, 0},
	} {
		c.change(&c.req)
		p := newProblem(&c.req)
		if len(p.parts) != 1 {
			// Half of it would fit: the whole is asked for.
			p.parts = p.parts[:1]
			p.parts[0] = part{share: 1, minutes: c.req.Groups[0].Minutes, walkL: 4, tank: c.req.Groups[0].TankL > 0}
		}
		s := newSearch(p)
		s.run()
		exact, all := p.solve(math.Inf(1))
		if len(s.best) != c.rounds || len(exact) != c.rounds || !all || !near(s.cost, p.cost(exact, newDesk(p))) {
			t.Errorf("%s: %d rounds found, %d by looking at all, %t; not %d", name, len(s.best), len(exact), all, c.rounds)
		}
	}
}

// Groups that are split are said as one: what is said of a round's parts adds up, and each is
// its share of what comes to the group between that part's visits.
func TestSplitGroupsAreSaidAsOne(t *testing.T) {
	several := 0
	for seed := range uint64(60) {
		req := randomBush(seed, 2, 2)
		for g := range req.Groups {
			req.Groups[g].Minutes *= 3
		}
		p := newProblem(&req)
		if len(p.parts) == 2 || len(p.starts) == 0 {
			continue
		}
		n, rng, w := newNaive(&req, math.Inf(1)), rand.New(rand.NewPCG(seed, 8)), newDesk(p)
		n.grid = hoursOf(p)
		for range 12 {
			s := anySchedule(p, rng, 4)
			cost := p.cost(s, w)
			if math.IsInf(cost, 1) {
				continue
			}
			plan := p.write(s, false)
			// between is a part's share of what comes to its group from one of its visits to the next,
			// k from 0 for the first; with the hours.
			between := func(a, k int) (b [5]float64, from, to int) {
				visits := append([]int{-1}, visitsBy(s, a)...)
				if from = -1; k > 0 {
					from = n.grid[visits[k]]
				}
				if to = 96; k+1 < len(visits) {
					to = n.grid[visits[k+1]]
				}
				b = n.between(p.parts[a].group, from, to)
				return b, from, to
			}
			loss, late, walks, ice := make([]float64, 2), 0.0, 0.0, 0.0
			risk := make([]float64, 2)
			for a := range p.parts {
				g, visits := p.parts[a].group, visitsBy(s, a)
				for k := range len(visits) + 1 {
					b, _, _ := between(a, k)
					loss[g], late = loss[g]+p.parts[a].share*b[3], late+p.parts[a].share*(b[0]-b[3]-b[4])/1e4
					ice += p.parts[a].share * b[4]
					risk[g] = max(risk[g], b[2])
				}
				walks += p.parts[a].share * 0.1 * float64(req.Groups[g].Taps) * float64(len(visits))
			}
			for g, said := range plan.Groups {
				if !near(said.LossL, loss[g]) || !near(said.RunsOver, risk[g]) {
					t.Fatalf("seed %d: %+v, and it loses %g at %g", seed, said, loss[g], risk[g])
				}
			}
			want := loss[0] + loss[1] + walks + ice + req.Costs.TripWorthL*float64(plan.Trips)
			if !near(plan.CostL, want) || math.Abs(plan.LateHours-late) > 1e-4 || math.Abs(cost-want-1e4*late) > 1e-2 {
				t.Fatalf("seed %d: costs %g and %g late, and it is %g and %g, %g in all", seed, plan.CostL, plan.LateHours, want, late, cost)
			}
			for k := range plan.Rounds {
				r, o := &plan.Rounds[k], &s[k]
				at := int(r.Start.Sub(midnight).Hours())
				for i, l := range r.Groups {
					var sum GroupLoad
					sum.Latest = hourOf(200)
					parts := 0
					for _, a := range o.parts {
						if req.Groups[p.parts[a].group].ID != l.Group {
							continue
						}
						visit := slices.Index(visitsBy(s, a), o.start)
						share := p.parts[a].share
						own, from, _ := between(a, visit)
						next, _, to := between(a, visit+1)
						hangs := n.hangs(p.parts[a].group, from, at)
						slices.Sort(hangs)
						sum.Share, sum.MeanL, sum.RunsOver = sum.Share+share, sum.MeanL+share*own[1], max(sum.RunsOver, own[2])
						sum.LowL, sum.MidL, sum.HighL = sum.LowL+share*hangs[1], sum.MidL+share*hangs[5], sum.HighL+share*hangs[8]
						sum.SavesL += max(share*(n.between(p.parts[a].group, from, to)[3]-own[3]-next[3]), 0)
						if at := p.load(a, o, visitsBy(s, a)).Latest; at.Before(sum.Latest) {
							sum.Latest = at
						}
						parts++
					}
					if parts > 1 {
						several++
					}
					if !near(l.Share, sum.Share) || !near(l.MeanL, sum.MeanL) || !near(l.LowL, sum.LowL) || !near(l.MidL, sum.MidL) || !near(l.HighL, sum.HighL) ||
						!near(l.SavesL, sum.SavesL) || !near(l.RunsOver, sum.RunsOver) || !l.Latest.Equal(sum.Latest) ||
						i > 0 && r.Groups[i-1].Group >= l.Group {
						t.Fatalf("seed %d: %+v, and it is %+v", seed, l, sum)
					}
				}
			}
		}
	}
	if several < 10 {
		t.Errorf("%d visits to several parts of a group show little", several)
	}
}

// A promise of no groups takes along what ends in time, to the minute; one of groups takes as long
// as those do, and neither is in the way of the other's helper.
func TestPromisesOfNoGroupsEndInTime(t *testing.T) {
	for _, c := range []struct {
		minutes float64
		groups  []string
		fits    bool
	}{{160, nil, true}, {161, nil, false}, {400, []string{"a"}, true}} {
		req := days(1, [2]float64{9, 12})
		req.Groups[0].HeldL[0], req.Groups[0].AgeUsed, req.Costs.MaxAge = 7, 0.95, 1
		req.Pins = []Pin{{Start: hourOf(9), Who: []string{"A"}, Groups: c.groups}}
		p := newProblem(&req)
		p.parts = []part{{share: 1, minutes: c.minutes, walkL: 4}}
		p.pins[0].parts = nil
		if c.groups != nil {
			p.pins[0].parts = []int{0}
		}
		s := p.asked()
		s[0].parts = []int{0}
		if cost := p.cost(s, newDesk(p)); math.IsInf(cost, 1) == c.fits {
			t.Errorf("%g minutes, of groups %v: costs %g", c.minutes, c.groups, cost)
		}
		search := newSearch(p)
		search.run()
		exact, all := p.solve(math.Inf(1))
		for what, x := range map[string]schedule{"found": search.best, "looked at all": exact} {
			if len(x) != 1 || (len(x[0].parts) == 1) != c.fits || x[0].pin != 0 || !all {
				t.Errorf("%g minutes, of groups %v, %s: %+v", c.minutes, c.groups, what, x)
			}
		}
	}
}

// A promise stays however a part is planned anew, also where it comes before all else.
func TestAPromiseStaysWhenPlannedAnew(t *testing.T) {
	for _, hour := range []float64{7, 10, 33} {
		for _, held := range []float64{0.5, 7} {
			req := days(2, [2]float64{9, 12})
			req.Groups[0].HeldL[0] = held
			req.Pins = []Pin{{Start: hourOf(hour), Who: []string{"A"}, Groups: []string{"a"}}}
			p := newProblem(&req)
			s := newSearch(p)
			x := s.best.with(outing{start: len(p.starts) - 1, who: [2]int{0, -1}, pin: -1, parts: []int{0}})
			if math.IsInf(p.cost(x, newDesk(p)), 1) {
				t.Fatalf("at %g: %+v", hour, x)
			}
			if y, _ := s.replan(x, 0, 1); y != nil && !slices.Contains(visitsBy(y, 0), p.pins[0].start) {
				t.Errorf("at %g: the promise is gone: %+v", hour, y)
			}
		}
	}
}

// Whoever is out less goes where they could as well, at no cost.
func TestNobodyGoesInAnothersPlace(t *testing.T) {
	changed := 0
	for seed := range uint64(60) {
		req := randomBush(seed, 2, 3)
		req.Helpers[1].Free = req.Helpers[0].Free
		p := newProblem(&req)
		s, w := newSearch(p), newDesk(p)
		s.dayByDay()
		x := s.best
		for k := range x {
			if h := 0; x[k].pin < 0 && x[k].who[1] < 0 { // as many of them as can be by one
				was := x[k].who[0]
				if x[k].who[0] = h; math.IsInf(p.cost(x, w), 1) {
					x[k].who[0] = was
				}
			}
		}
		cost := p.cost(x, w)
		before, pairs := fmtWho(x), fmtPairs(x)
		p.shareOut(x, w, cost)
		if before != fmtWho(x) {
			changed++
		}
		if fmtPairs(x) != pairs {
			t.Errorf("seed %d: two who went together are others: %s, not %s", seed, fmtPairs(x), pairs)
		}
		if p.cost(x, w) > cost+1e-6 {
			t.Errorf("seed %d: it cost %g, and costs %g", seed, cost, p.cost(x, w))
		}
		minutes := make([]int, len(p.helpers))
		for k := range x {
			for h := range minutes {
				if p.goes(&x[k], h) {
					minutes[h] += p.lasts(&x[k])
				}
			}
		}
		for k := range x {
			for h := range minutes {
				was := x[k].who[0]
				if x[k].pin >= 0 || x[k].who[1] >= 0 || !p.canStart(h, x[k].start) || minutes[h]+p.lasts(&x[k]) >= minutes[was] {
					continue
				}
				if x[k].who[0] = h; p.cost(x, w) <= cost+1e-9 {
					t.Errorf("seed %d: %v are out, and %d could go for %d: %+v", seed, minutes, h, was, x[k])
				}
				x[k].who[0] = was
			}
		}
	}
	if changed < 10 {
		t.Errorf("%d plans that change show little", changed)
	}
}

func fmtWho(s schedule) (out string) {
	for _, o := range s {
		out += string(rune('a'+o.who[0])) + string(rune('a'+1+o.who[1]))
	}
	return out
}

func fmtPairs(s schedule) string {
	return fmtWho(slices.DeleteFunc(slices.Clone(s), func(o outing) bool { return o.who[1] < 0 }))
}

// Two who promised go as two, and a promise that is left with nothing stays.
func TestTwoWhoPromisedGoAsTwo(t *testing.T) {
	req := days(1, [2]float64{9, 12}, [2]float64{9, 12})
	req.Pins = []Pin{{Start: hourOf(9), Who: []string{"A", "B"}}, {Start: hourOf(14), Who: []string{"A"}}}
	p := newProblem(&req)
	s := p.asked()
	s[0].parts, s[1].parts = []int{0}, []int{0}
	p.cost(s, newDesk(p))
	if p.people(&s[0]) != 2 || p.people(&s[1]) != 1 || p.lasts(&s[0]) != 20+20 || p.lasts(&s[1]) != 40+20 {
		t.Errorf("%+v", s)
	}
	if bare := p.withoutPart(s, 0); len(bare) != 2 || len(bare[0].parts) > 0 || len(bare[1].parts) > 0 || len(s[0].parts) != 1 {
		t.Errorf("%+v", bare)
	}
	p.pins[0].parts = []int{0}
	if bare := p.withoutPart(s, 0); len(bare) != 2 || len(bare[0].parts) != 1 || len(bare[1].parts) > 0 {
		t.Errorf("of what was asked for: %+v", bare)
	}
}

// Sap that is tipped out takes no room: also where the store holds more than it is said to.
func TestWhatIsTippedOutTakesNoRoom(t *testing.T) {
	req := days(1, [2]float64{9, 12})
	req.Groups[0].AgeUsed, req.Costs.MaxAge = 1.1, 1
	for h := 12; h < 18; h++ {
		req.Groups[0].FlowL[0][h] = 0.6
	}
	req.Store = Store{CapacityL: 400, HeldL: 420}
	p := newProblem(&req)
	s := newSearch(p)
	s.run()
	exact, _ := p.solve(math.Inf(1))
	if len(s.best) != 1 || len(exact) != 1 || s.best[0].sapL != 0 {
		t.Errorf("%+v, %+v", s.best, exact)
	}
	plan := PlanRounds(req)
	if len(plan.Rounds) != 1 || !plan.Rounds[0].Groups[0].TipOut || plan.Rounds[0].Groups[0].MeanL != 0 {
		t.Errorf("%+v", plan)
	}
}

// What has run over before now is no reason to go, and full containers before a hard freeze are.
func TestWhatRanOverIsNoReason(t *testing.T) {
	req := days(1, [2]float64{9, 12})
	req.Groups[0].HeldL[0] = 12 // all but the worst fifth are full to the brim
	for h := range req.AirC[0] {
		if h >= 14 {
			req.AirC[0][h] = -12
		}
	}
	plan := PlanRounds(req)
	if len(plan.Rounds) != 1 || plan.Rounds[0].Groups[0].Why != WhyFreeze || plan.LossL > 1e-9 || !near(plan.LossWithoutL, 4*8*8) {
		t.Errorf("%+v", plan)
	}
	// Of a later visit's reason nothing that ran before the first is taken off.
	req = days(2, [2]float64{9, 12})
	req.Groups[0].HeldL[0] = 9
	for h := range req.Groups[0].FlowL[0] {
		if h > 10 {
			req.Groups[0].FlowL[0][h] = 0.25
		}
	}
	plan = PlanRounds(req)
	for _, r := range plan.Rounds {
		if r.Groups[0].Why != WhyOverflow {
			t.Errorf("%+v", r)
		}
	}
	if len(plan.Rounds) < 2 {
		t.Errorf("%+v", plan)
	}
}

// The exact search is begun where each of a hundred labels can be tried with every tenth set,
// and its tables hold as many parts and helpers.
func TestWhatIsTooMuchToTry(t *testing.T) {
	begun, not := 0, 0
	for _, size := range [][2]int{{1, 1}, {3, 2}, {3, 3}, {4, 3}, {5, 2}, {5, 3}, {5, 4}, {6, 1}, {6, 2}, {6, 3}, {6, 5}, {6, 7}, {6, 8}, {5, 8}, {7, 1}, {2, 8}, {1, 9}} {
		for seed := range uint64(8) {
			req := randomBush(seed, size[0], size[1])
			for g := range req.Groups {
				req.Groups[g].Minutes /= 3 // few are split
			}
			for k := range req.Helpers { // some have a day's hours together
				if seed%2 == 1 {
					req.Helpers[k].Free = nil
					for day := range 4 {
						req.Helpers[k].Free = append(req.Helpers[k].Free, Span{hourOf(float64(24*day) + 8), hourOf(float64(24*day) + 9 + float64(seed))})
					}
				}
			}
			p := newProblem(&req)
			sets := 0
			for j := range p.starts {
				free := 0
				for h := range p.helpers {
					if p.canStart(h, j) {
						free++
						sets += free // alone, or with one of those before
					}
				}
				for _, q := range p.pins {
					if q.start == j {
						sets++
					}
				}
			}
			tries := sets
			for range p.parts {
				tries *= 2
			}
			// With six parts or fewer a set takes as many steps as there are parts.
			want := len(p.parts) <= 6 && len(p.helpers) <= 8 && tries*len(p.parts)*10 <= 480_000
			if got := newExact(p, 1); (got != nil) != want {
				t.Errorf("seed %d, %v: begun with %d sets, %d parts and %d helpers: %t", seed, size, sets, len(p.parts), len(p.helpers), got != nil)
			} else if got != nil && got.left != tries {
				t.Errorf("seed %d, %v: %d sets, not %d", seed, size, got.left, tries)
			}
			if want {
				begun++
			} else if len(p.parts) <= 6 && len(p.helpers) <= 8 {
				not++
			}
		}
	}
	if begun < 20 || not < 10 {
		t.Errorf("%d begun, %d not: they show little", begun, not)
	}
}

// A visit is due by the last start in the light at which it does as much, though somebody has
// promised to go elsewhere by night.
func TestNobodyIsTooLateInTheDark(t *testing.T) {
	req := days(1, [2]float64{9, 18})
	req.Groups = append(req.Groups, req.Groups[0])
	req.Groups[1].ID = "b"
	req.Pins = []Pin{{Start: hourOf(21), Who: []string{"A"}, Groups: []string{"b"}}}
	p := newProblem(&req)
	s := p.asked().with(outing{start: slices.Index(p.starts, 10*60), who: [2]int{0, -1}, pin: -1, parts: []int{0}})
	if math.IsInf(p.cost(s, newDesk(p)), 1) {
		t.Fatalf("%+v", s)
	}
	plan := p.write(s, false)
	if got := plan.Rounds[0].Groups[0].Latest; !got.Equal(hourOf(17)) {
		t.Errorf("due by %s", got)
	}
	if got := plan.Rounds[1].Groups[0]; got.Why != WhyPinned || !got.Latest.Equal(hourOf(21)) {
		t.Errorf("%+v", got)
	}
}
