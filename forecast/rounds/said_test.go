package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// near reports whether two figures are one, but for how they were added up.
func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6+1e-9*math.Abs(b) }

// What a plan says of its rounds is what every draw, hour by hour and pail by pail, comes to:
// what is carried, lost, saved, at what risk, for how long beyond it, how long it takes, and
// until when it does as much.
func TestWhatPlansSayIsWhatComes(t *testing.T) {
	rounds, late := 0, 0
	for _, size := range [][2]int{{1, 1}, {2, 2}, {3, 2}} {
		for seed := range uint64(14) {
			req := randomBush(seed, size[0], size[1])
			plan := PlanRounds(req)
			if !whole(&plan) {
				continue
			}
			rounds += len(plan.Rounds)
			if plan.LateHours > 0 {
				late++
			}
			saidOf(t, seed, &req, &plan)
		}
	}
	if rounds < 50 || late < 4 {
		t.Errorf("%d rounds and %d plans beyond the accepted risk show little", rounds, late)
	}
}

// What is said of any other rounds is what comes, too.
func TestWhatIsSaidOfAnyRounds(t *testing.T) {
	whys, wants := map[Why]int{}, map[Want]int{}
	for _, size := range [][2]int{{1, 1}, {2, 2}, {3, 2}} {
		plainBushes(t, 48, size[0], size[1], func(seed uint64, req *PlanRequest, _ *problem) {
			switch seed % 4 {
			case 0: // sap grows old soon, and little of it
				req.Costs.MaxAge = 0.4
				moreFlow(req, 1.0/3)
			case 1: // a small tank to carry in
				req.Costs.CarryL = 60
				for g := range req.Groups {
					req.Groups[g].Minutes /= 4
				}
				for d := range req.Groups[0].HeldL { // some has run over before now
					req.Groups[0].HeldL[d] += 4
				}
				moreFlow(req, 2)
			case 2: // short days
				for day := range req.Daylight {
					req.Daylight[day].To = hourOf(24*float64(day) + 11)
				}
			case 3: // a store that is nearly full, beside a large pan or a small one
				moreFlow(req, 2)
				req.Store = Store{CapacityL: 800, HeldL: 400 + 50*float64(seed%8), BoiledL: make([]float64, 96)}
				for h := range req.Store.BoiledL {
					req.Store.BoiledL[h] = float64(seed%8) - 2
				}
			}
			p := newProblem(req)
			if len(p.parts) != size[0] || len(p.starts) == 0 {
				return
			}
			rng, w := rand.New(rand.NewPCG(seed, 7)), newDesk(p)
			for range 16 {
				s := anySchedule(p, rng, 5)
				if math.IsInf(p.cost(s, w), 1) {
					continue
				}
				plan := p.write(s, false)
				saidOf(t, seed, req, &plan)
				for k := range plan.Rounds {
					for _, l := range plan.Rounds[k].Groups {
						whys[l.Why]++
					}
				}
				for _, x := range plan.ShortOf {
					wants[x.What]++
				}
				shortOf(t, seed, req, p, s, &plan)
			}
		})
	}
	if len(whys) < 4 || whys[WhyAge] < 20 || whys[WhyFreeze] < 10 || whys[WhyOverflow] < 20 {
		t.Errorf("%v show little", whys)
	}
	if len(wants) < 5 {
		t.Errorf("%v show little", wants)
	}
}

func moreFlow(req *PlanRequest, times float64) {
	for g := range req.Groups {
		for _, flow := range req.Groups[g].FlowL {
			for h := range flow {
				flow[h] *= times
			}
		}
	}
}

// hoursOf are the starts of a plan, and its end.
func hoursOf(p *problem) []int {
	var hours []int
	for _, m := range p.starts {
		hours = append(hours, m/60)
	}
	return append(hours, p.weather.hours)
}

// shortOf holds what is said to be short on a day against what every late group would have had
// to be relieved of, and for want of what against who was free, for how long, beside the rounds.
func shortOf(t *testing.T, seed uint64, req *PlanRequest, p *problem, s schedule, plan *Plan) {
	t.Helper()
	n := newNaive(req, math.Inf(1))
	n.grid = hoursOf(p)
	type short struct {
		on       int
		possible float64
		needed   float64
		groups   []string
	}
	want := map[[2]any]*short{}
	for g := range req.Groups {
		i := -1
		for _, j := range append(visitsBy(s, g), len(p.starts)) {
			from, to := -1, n.grid[j]
			if i >= 0 {
				from = n.grid[i]
			}
			last := i
			i = j
			late := slices.IndexFunc(n.grid[:j], func(h int) bool { return h > from && n.between(g, from, h)[2] > 0.1 })
			if late < 0 {
				late = j
			}
			if b := n.between(g, from, to); b[0]-b[3]-b[4] <= 1e-4 || late == len(p.starts) {
				continue
			}
			day := n.grid[late] / 24
			key := [2]any{day, wantOf(p, s, g, last, late)}
			x := want[key]
			if x == nil {
				x = &short{on: n.grid[late]}
				for k := range s {
					if n.grid[s[k].start]/24 == day {
						x.possible += s[k].sapL
					}
				}
				x.needed = x.possible
				want[key] = x
			}
			x.on = min(x.on, n.grid[late])
			if b := n.between(g, from, n.grid[late]); j < len(p.starts) && to/24 == day {
				x.needed += n.between(g, from, to)[3]
			} else {
				x.needed += b[1] + b[3]
			}
			if id := req.Groups[g].ID; !slices.Contains(x.groups, id) {
				x.groups = append(x.groups, id)
			}
		}
	}
	for key, x := range want {
		if x.needed < x.possible+1 {
			delete(want, key)
		}
	}
	for k, said := range plan.ShortOf {
		x := want[[2]any{int(said.On.Sub(midnight).Hours()) / 24, said.What}]
		if x == nil || !said.On.Equal(hourOf(float64(x.on))) || !near(said.NeededL, x.needed) || !near(said.PossibleL, x.possible) ||
			!slices.Equal(said.Groups, x.groups) {
			t.Errorf("seed %d: %+v, and it is %+v", seed, said, x)
		}
		if k > 0 && said.On.Before(plan.ShortOf[k-1].On) {
			t.Errorf("seed %d: %+v comes after %+v", seed, said, plan.ShortOf[k-1])
		}
	}
	if len(plan.ShortOf) != len(want) {
		t.Errorf("seed %d: %d are short, not %d", seed, len(plan.ShortOf), len(want))
	}
}

func visitsBy(s schedule, a int) []int {
	var out []int
	for _, o := range s {
		if slices.Contains(o.parts, a) && !slices.Contains(out, o.start) {
			out = append(out, o.start)
		}
	}
	return out
}

// wantOf is what hindered a visit to a part after one at start i, no later than another start.
func wantOf(p *problem, s schedule, a, i, late int) Want {
	one := &p.parts[a]
	can := func(t, trips int) bool {
		var tills []int
		for h := range p.helpers {
			tills = append(tills, tillOf(p, s, h, t))
		}
		slices.Sort(tills)
		slices.Reverse(tills)
		for people, till := range tills[:min(len(tills), 2)] {
			if till > 0 && float64(p.starts[t])+one.takes(people+1)+20*float64(trips) <= float64(till)+1e-9 {
				return true
			}
		}
		return false
	}
	carrying, more := false, 0.0
	for t := i + 1; t < late; t++ {
		sap := p.at(a, i, t).sapL
		trips := p.trips(sap)
		if p.req.Store.CapacityL > 0 && sap > 0 && can(t, trips) && !storeTakes(p, s, t, sap) {
			brought, boiled := 0.0, 0.0
			for k := range s {
				if m := p.starts[s[k].start]; m <= p.starts[t] && m > p.starts[t]-24*60 {
					brought += s[k].sapL
				}
			}
			for h := max(p.starts[t]/60-24, 0); h < p.starts[t]/60; h++ {
				boiled += p.req.Store.BoiledL[h]
			}
			if boiled < brought {
				return WantPan
			}
			return WantTank
		}
		carrying = carrying || !can(t, trips) && can(t, 1)
	}
	for k := range s {
		if s[k].start > i && s[k].start < late {
			more += 20 * float64(s[k].trips-1)
		}
	}
	if carrying || more >= one.takes(1)+20 {
		return WantCarrying
	}
	for _, h := range p.req.Helpers {
		for _, f := range h.Free {
			from, to := max(int(f.From.Sub(midnight).Minutes()), p.now), int(f.To.Sub(midnight).Minutes())
			if i >= 0 {
				from = max(from, p.starts[i])
			}
			if late < len(p.starts) {
				to = min(to, p.starts[late])
			}
			dark := 0 // the longest stretch of these without light
			for m, long := from, 0; m < to; m++ {
				if long++; endOf(p.light, m) > 0 {
					long = 0
				}
				dark = max(dark, long)
			}
			if dark >= int(one.takes(1)+20) {
				return WantDaylight
			}
		}
	}
	return WantHands
}

func saidOf(t *testing.T, seed uint64, req *PlanRequest, plan *Plan) {
	t.Helper()
	n, p := newNaive(req, math.Inf(1)), newProblem(req)
	n.grid = hoursOf(p)
	hour := func(at time.Time) int { return int(at.Sub(midnight) / time.Hour) }
	visits := make([][]int, len(req.Groups))
	number := func(id string) int { return slices.IndexFunc(req.Groups, func(g TapGroup) bool { return g.ID == id }) }
	for k := range plan.Rounds {
		for _, l := range plan.Rounds[k].Groups {
			visits[number(l.Group)] = append(visits[number(l.Group)], hour(plan.Rounds[k].Start))
		}
	}
	if slices.ContainsFunc(visits, func(v []int) bool { return len(slices.Compact(slices.Clone(v))) < len(v) }) {
		return // two were asked to go there at once
	}
	trips := 0
	for k := range plan.Rounds {
		r := &plan.Rounds[k]
		walk, sap := 0.0, 0.0
		for i := range r.Groups {
			l := &r.Groups[i]
			g := number(l.Group)
			at := slices.Index(visits[g], hour(r.Start))
			from, to := -1, 96
			if at > 0 {
				from = visits[g][at-1]
			}
			if at+1 < len(visits[g]) {
				to = visits[g][at+1]
			}
			own := n.between(g, from, hour(r.Start))
			saves := max(n.between(g, from, to)[3]-own[3]-n.between(g, hour(r.Start), to)[3], 0)
			if !near(l.MeanL, own[1]) || !near(l.RunsOver, own[2]) || !near(l.SavesL, saves) || l.TipOut != n.tooOld(g, from, hour(r.Start)) {
				t.Errorf("seed %d, %s of %s: %.3f L at %.2f, saves %.3f, tipped out %t; it is %.3f at %.2f, %.3f, %t", seed, l.Group, r.Start,
					l.MeanL, l.RunsOver, l.SavesL, l.TipOut, own[1], own[2], saves, n.tooOld(g, from, hour(r.Start)))
			}
			why, hangs := n.why(g, from, to), n.hangs(g, from, hour(r.Start))
			slices.Sort(hangs)
			if r.Pinned {
				why = WhyPinned
			}
			// Of ten draws the second, the sixth and the ninth: as near as ranks come to what is said.
			if l.Why != why || !near(l.LowL, hangs[1]) || !near(l.MidL, hangs[5]) || !near(l.HighL, hangs[8]) ||
				math.Abs(l.AgeUsed-n.aged(g, from, hour(r.Start))) > 1e-9 || l.Share != 1 {
				t.Errorf("seed %d: %+v, and it is %.3f, %.3f, %.3f for %s", seed, l, hangs[1], hangs[5], hangs[8], why)
			}
			if !r.Pinned {
				latest(t, seed, n, p, g, from, to, own, r, l)
			}
			sap += own[1]
			people := max(len(r.Who), 1)
			if req.Groups[g].TankL > 0 {
				people = 1
			}
			walk += req.Groups[g].Minutes / float64(people)
		}
		if minutes := math.Ceil(walk + 20*float64(r.Trips) - 1e-9); float64(r.Minutes) != minutes || !r.End.Equal(r.Start.Add(time.Duration(r.Minutes)*time.Minute)) {
			t.Errorf("seed %d: a round of %d minutes to %s, it takes %g", seed, r.Minutes, r.End, minutes)
		}
		trips += r.Trips
	}
	lost, without, late, walks, ice := 0.0, 0.0, 0.0, 0.0, 0.0
	for g := range req.Groups {
		from, own, risk := -1, 0.0, 0.0
		for _, to := range append(slices.Clone(visits[g]), 96) {
			b := n.between(g, from, to)
			own, risk, late = own+b[3], max(risk, b[2]), late+(b[0]-b[3]-b[4])/1e4
			ice += b[4]
			from = to
		}
		if said := plan.Groups[g]; said.Group != req.Groups[g].ID || !near(said.LossL, own) || !near(said.RunsOver, risk) {
			t.Errorf("seed %d: %+v, and it loses %.3f at %.2f", seed, said, own, risk)
		}
		lost, without = lost+own, without+n.between(g, -1, 96)[3]
		walks += 0.1 * float64(req.Groups[g].Taps) * float64(len(visits[g]))
	}
	if cost := lost + walks + ice + req.Costs.TripWorthL*float64(trips); !near(plan.LossL, lost) || !near(plan.LossWithoutL, without) ||
		math.Abs(plan.LateHours-late) > 1e-4 || !near(plan.CostL, cost) || plan.Trips != trips {
		t.Errorf("seed %d: loses %.3f, %.3f without, %.4f late, costs %.3f in %d trips; it is %.3f, %.3f, %.4f, %.3f in %d", seed, plan.LossL,
			plan.LossWithoutL, plan.LateHours, plan.CostL, plan.Trips, lost, without, late, cost, trips)
	}
}

// latest looks whether a visit does as much until the moment that is said, and not at the next
// start in the light before the group's next visit.
func latest(t *testing.T, seed uint64, n *naive, p *problem, g, from, to int, own [5]float64, r *Round, l *GroupLoad) {
	t.Helper()
	want := r.Start
	for _, m := range p.starts {
		at := midnight.Add(time.Duration(m) * time.Minute)
		if !at.After(r.Start) || m >= 60*to {
			continue
		}
		b := n.between(g, from, m/60)
		if b[2] > max(0.1, own[2])+1e-9 || b[3] > own[3]*1.05+1+1e-9 {
			break
		}
		if slices.ContainsFunc(n.req.Daylight, func(s Span) bool { return !at.Before(s.From) && at.Before(s.To) }) {
			want = at
		}
	}
	if !l.Latest.Equal(want) {
		t.Errorf("seed %d: %s from %s does as much until %s, not %s", seed, l.Group, r.Start, want, l.Latest)
	}
}

// What is worked out exactly is the best of all sequences, however far above it the search
// stopped: below that limit it finds it again, and nothing below itself.
func TestExactNeedsNoSearch(t *testing.T) {
	proven, below := 0, 0
	for _, size := range [][2]int{{1, 1}, {1, 3}, {2, 1}, {2, 2}, {3, 1}} {
		pinned, stored, plain := 0, 0, 0
		for seed := range uint64(200) {
			req := randomBush(seed, size[0], size[1])
			switch { // a few of each: what was promised, and a store that fills
			case len(req.Pins) > 0 && pinned < 6:
				pinned++
			case req.Store.CapacityL > 0 && stored < 5:
				stored++
			case len(req.Pins) == 0 && req.Store.CapacityL == 0 && plain < 5:
				plain++
			default:
				continue
			}
			p := newProblem(&req)
			if len(p.parts) != size[0] {
				continue // the enumeration splits no groups
			}
			w := newDesk(p)
			nothing := newSearch(p)
			nothing.run()
			limit := 1.5*nothing.cost + 200
			s, all := p.solve(limit)
			if !all {
				continue
			}
			proven++
			if s == nil {
				t.Errorf("seed %d, %v: nothing below %.2f, where the search found %.2f", seed, size, limit, nothing.cost)
				continue
			}
			cost := p.cost(s, w)
			best, slack := naiveBest(&req, cost+1e-3), 1e-3
			if req.Store.CapacityL > 0 {
				slack = 0.01 * cost // labels that differ by little in the store are one
			}
			if math.Abs(best-cost) > slack+1e-9*cost {
				t.Errorf("seed %d, %v: %.3f, and the best of all sequences %.3f", seed, size, cost, best)
			}
			if cost < nothing.cost-1e-3 {
				below++
			}
			again, all := p.solve(cost + 1e-3)
			if again == nil || math.Abs(p.cost(again, w)-cost) > 1e-3 || !all {
				t.Errorf("seed %d, %v: not found again below %.3f", seed, size, cost+1e-3)
			}
			if less, all := p.solve(cost - 1e-3); less != nil || !all {
				t.Errorf("seed %d, %v: %.3f is found below %.3f", seed, size, p.cost(less, w), cost-1e-3)
			}
		}
	}
	if proven < 45 {
		t.Errorf("%d plans show little", proven)
	}
	t.Logf("%d plans, %d of them better than the search's", proven, below)
}

// Who promised rounds makes them, also where there is nothing to gather or two of them meet;
// and nobody is on a round of their own while they are on one that they promised.
func TestPromisedRoundsAreMade(t *testing.T) {
	bare := func(heldL float64, pins ...Pin) PlanRequest {
		flow := make([]float64, 96)
		return PlanRequest{Start: midnight, Now: hourOf(6.5), AirC: [][]float64{make([]float64, 96)}, Pins: pins,
			Groups: []TapGroup{{ID: "a", Load: Load{Fill: Fill{Taps: 40, ContainerL: 8, FlowL: [][]float64{flow}, HeldL: []float64{heldL}}}, Minutes: 40},
				{ID: "b", Load: Load{Fill: Fill{Taps: 40, ContainerL: 8, FlowL: [][]float64{flow}, HeldL: []float64{heldL}}}, Minutes: 40}},
			Helpers:  []Helper{{ID: "A", Free: []Span{{hourOf(8), hourOf(12)}}}},
			Daylight: []Span{{hourOf(6), hourOf(19)}, {hourOf(30), hourOf(43)}, {hourOf(54), hourOf(67)}, {hourOf(78), hourOf(91)}}}
	}
	pin := func(hour float64, groups ...string) Pin {
		return Pin{Start: hourOf(hour), Who: []string{"A"}, Groups: groups}
	}
	full := func(req PlanRequest) PlanRequest {
		req.Store = Store{CapacityL: 300, HeldL: 290, BoiledL: make([]float64, 96)}
		return req
	}
	for name, req := range map[string]PlanRequest{
		"to a full store":             full(bare(7, pin(9, "a"))),
		"of no groups, to a full one": full(bare(7, pin(9))),
		"nothing hangs":               bare(0, pin(9)),
		"nothing hangs, to a group":   bare(0, pin(9, "a")),
		"all hangs":                   bare(7, pin(9)),
		"two that meet":               bare(7, pin(9, "a"), pin(9.25, "b")),
		"two that meet, of no groups": bare(7, pin(9), pin(9.25)),
		"two of one group":            bare(7, pin(9, "a"), pin(9, "a")),
		"outside their hours":         bare(7, pin(14, "a")),
		"in the dark":                 bare(7, pin(21, "a")),
		"before theirs":               bare(7, pin(8, "a")),
	} {
		p := newProblem(&req)
		search := newSearch(p)
		search.run()
		s, all := p.solve(search.cost + 1)
		if s == nil || !all || p.cost(s, newDesk(p)) > search.cost+1e-6 {
			t.Errorf("%s: not found below the search's %.2f", name, search.cost+1)
			continue
		}
		plan := PlanRounds(req)
		holds(t, &req, &plan)
		promised := 0
		for k := range plan.Rounds {
			r := &plan.Rounds[k]
			if r.Pinned {
				promised++
				continue
			}
			for j := range plan.Rounds {
				if o := &plan.Rounds[j]; o.Pinned && r.Start.Before(o.End) && o.Start.Before(r.End) {
					t.Errorf("%s: out from %s, and promised from %s to %s", name, r.Start, o.Start, o.End)
				}
			}
		}
		if promised != len(req.Pins) {
			t.Errorf("%s: %d rounds of %d promised", name, promised, len(req.Pins))
		}
	}
}

// Stretches are joined, cut and taken out minute by minute.
func TestStretchesMinuteByMinute(t *testing.T) {
	const minutes = 40
	rng := rand.New(rand.NewPCG(1, 2))
	draw := func() (spans []Span, in [minutes]bool) {
		for range rng.IntN(5) {
			from, to := rng.IntN(minutes*2), rng.IntN(minutes*2) // half minutes
			spans = append(spans, Span{midnight.Add(time.Duration(from) * 30 * time.Second), midnight.Add(time.Duration(to) * 30 * time.Second)})
			for m := range minutes {
				in[m] = in[m] || 2*m >= from && 2*m+2 <= to
			}
		}
		return spans, in
	}
	bits := func(s []stretch) (in [minutes]bool) {
		for k, x := range s {
			if x.from >= x.to || k > 0 && x.from < s[k-1].to {
				t.Fatalf("%v", s)
			}
			for m := x.from; m < x.to; m++ {
				in[m] = true
			}
		}
		return in
	}
	for range 3000 {
		one, a := draw()
		two, b := draw()
		x, y := stretches(midnight, one), stretches(midnight, two)
		var both, rest [minutes]bool
		for m := range minutes {
			both[m], rest[m] = a[m] && b[m], a[m] && !b[m]
		}
		if bits(x) != a || bits(y) != b || bits(inside(x, y)) != both || bits(without(x, y)) != rest {
			t.Fatalf("%v and %v", x, y)
		}
		for k := range x {
			if k > 0 && x[k].from <= x[k-1].to {
				t.Fatalf("not joined: %v", x)
			}
		}
		for m := range minutes {
			end := endOf(x, m)
			if (end > 0) != a[m] || end > 0 && (end <= m || end < minutes && a[end] && bits(x)[end] || !a[end-1]) {
				t.Fatalf("%d lies in %v until %d", m, x, end)
			}
		}
	}
}

// The search alone, which larger bushes are left to, finds the best plan of four small ones
// in five. The bounds are what it was measured at, for whoever makes it worse to see: most of
// what it misses are bushes where the accepted risk can't be kept.
func TestSearchAloneIsNearTheBest(t *testing.T) {
	plans, missed, worst := 0, 0, 1.0
	for _, size := range [][2]int{{1, 2}, {2, 1}, {2, 2}, {3, 2}} {
		for seed := range uint64(20) {
			req := randomBush(seed, size[0], size[1])
			p := newProblem(&req)
			s := newSearch(p)
			s.run()
			if math.Abs(p.cost(s.best, newDesk(p))-s.cost) > 1e-6+1e-9*s.cost {
				t.Errorf("seed %d, %v: it says %.3f, and it costs %.3f", seed, size, s.cost, p.cost(s.best, newDesk(p)))
			}
			best, all := p.solve(s.cost + 1e-3)
			if !all {
				continue
			}
			plans++
			if cost := p.cost(best, newDesk(p)); cost < s.cost-1e-3 {
				missed++
				worst = max(worst, s.cost/cost)
			}
		}
	}
	t.Logf("%d plans, %d are not the best, the worst costs %.4f of it", plans, missed, worst)
	if plans < 60 || missed > mostMissed || worst > mostWorse {
		t.Errorf("%d plans, %d are not the best, the worst costs %.4f of it", plans, missed, worst)
	}
}

const (
	mostMissed = 13
	mostWorse  = 1.40
)
