package rounds

import (
	"math"
	"slices"
	"testing"
	"time"
)

const usGallon = 3.785411784 // litres (definition)

// sugarbush has 480 pails in six groups, a gathering tank of 60 gallons and seven
// helpers with hours of their own. Pails hold so much now and get so much a day.
func sugarbush(heldL, dayL float64) PlanRequest {
	const hours = 120
	req := PlanRequest{Start: midnight, Now: hourOf(6.5), AirC: [][]float64{make([]float64, hours)}}
	req.Costs = RoundCosts{CarryL: 60 * usGallon, MaxAge: 1}
	for h := range hours {
		req.AirC[0][h] = 1 - 4*math.Cos(float64(h)/24*2*math.Pi)
	}
	for g := range 6 {
		l := TapGroup{ID: string(rune('a' + g)), Load: Load{Fill: Fill{Taps: 80, ContainerL: 7.5}}, Minutes: 60}
		for d := range 20 {
			flow := make([]float64, hours)
			for h := range flow {
				if h%24 >= 10 && h%24 < 18 {
					flow[h] = dayL / 8 * (0.7 + 0.6*float64(d)/19)
				}
			}
			l.FlowL, l.HeldL = append(l.FlowL, flow), append(l.HeldL, heldL)
		}
		req.Groups = append(req.Groups, l)
	}
	for k, hours := range [][2]float64{{8, 11}, {15, 17}, {16, 19}, {9, 12}, {13, 16}, {15, 18.5}, {7, 9}} {
		h := Helper{ID: string(rune('A' + k))}
		for day := range 5 {
			h.Free = append(h.Free, Span{hourOf(24*float64(day) + hours[0]), hourOf(24*float64(day) + hours[1])})
		}
		req.Helpers = append(req.Helpers, h)
	}
	for day := range 5 {
		req.Daylight = append(req.Daylight, Span{hourOf(24*float64(day) + 6.2), hourOf(24*float64(day) + 18.9)})
	}
	return req
}

// Full pails that take fifteen trips are gathered, also in windows of two hours, and by
// several at once.
func TestManyTripsAreNotTooMany(t *testing.T) {
	req := sugarbush(6, 2.5)
	plan := PlanRounds(req)
	holds(t, &req, &plan)
	trips, who := 0, map[string]bool{}
	for _, r := range plan.Rounds {
		if r.Start.Before(hourOf(24)) {
			trips += r.Trips
			for _, id := range r.Who {
				who[id] = true
			}
		}
	}
	if trips < 12 || len(who) < 4 || plan.LossL > 0.4*plan.LossWithoutL {
		t.Errorf("%d trips by %v on the first day; %.0f of %.0f L lost", trips, who, plan.LossL, plan.LossWithoutL)
	}
	if !who["B"] && !who["G"] {
		t.Errorf("nobody with two hours goes: %v", who)
	}
}

func TestPinsAndDaysOff(t *testing.T) {
	req := sugarbush(3, 3)
	at := hourOf(24 + 10)
	req.Pins = []Pin{{Start: at, Who: []string{"C"}, Groups: []string{"b", "e"}}}
	req.Helpers[1].Away = []Span{{hourOf(0), hourOf(120)}}
	plan := PlanRounds(req)
	holds(t, &req, &plan)
	for _, r := range plan.Rounds {
		if slices.Contains(r.Who, "B") {
			t.Errorf("B can't, yet goes at %s", r.Start)
		}
		if r.Pinned && len(r.Groups) != 2 {
			t.Errorf("asked for two groups: %+v", r)
		}
	}
	// A round without groups takes what fits.
	req.Pins = []Pin{{Start: hourOf(15), Who: []string{"B"}}}
	req.Helpers[1].Away = nil
	plan = PlanRounds(req)
	holds(t, &req, &plan)
	k := slices.IndexFunc(plan.Rounds, func(r Round) bool { return r.Pinned })
	if k < 0 || len(plan.Rounds[k].Groups) == 0 || plan.Rounds[k].End.After(hourOf(17)) {
		t.Errorf("%+v", plan.Rounds)
	}
	// Nobody goes where somebody has forbidden it.
	req.Pins, req.Forbidden = nil, []Span{{hourOf(0), hourOf(48)}}
	plan = PlanRounds(req)
	for _, r := range plan.Rounds {
		if r.Start.Before(hourOf(48)) {
			t.Errorf("a round at %s", r.Start)
		}
	}
}

func wants(plan *Plan) []Want {
	var out []Want
	for _, s := range plan.ShortOf {
		if !slices.Contains(out, s.What) {
			out = append(out, s.What)
		}
	}
	return out
}

// Where the risk can't be kept the plan says for want of what, and of how much.
func TestWhatIsShort(t *testing.T) {
	few := func(hours ...[2]float64) PlanRequest {
		req := sugarbush(4, 3)
		req.Helpers = req.Helpers[:len(hours)]
		for k, h := range hours {
			req.Helpers[k].Free = nil
			for day := range 5 {
				req.Helpers[k].Free = append(req.Helpers[k].Free, Span{hourOf(24*float64(day) + h[0]), hourOf(24*float64(day) + h[1])})
			}
		}
		return req
	}
	enough := sugarbush(1, 1)
	if plan := PlanRounds(enough); len(plan.ShortOf) > 0 || plan.LateHours > 0 {
		t.Errorf("nothing is short, yet %+v", plan.ShortOf)
	}
	hands := few([2]float64{9, 11})
	hands.Costs.CarryL = 0
	carrying := few([2]float64{7, 18}, [2]float64{7, 18}, [2]float64{7, 18})
	carrying.Costs.CarryL = 15
	daylight := few([2]float64{19.5, 23})
	store := sugarbush(4, 3)
	store.Store = Store{CapacityL: 600, BoiledL: make([]float64, 120)}
	for _, c := range []struct {
		req  PlanRequest
		want Want
	}{{hands, WantHands}, {carrying, WantCarrying}, {daylight, WantDaylight}, {store, WantPan}} {
		plan := PlanRounds(c.req)
		holds(t, &c.req, &plan)
		if !slices.Contains(wants(&plan), c.want) {
			t.Errorf("want %s, got %+v", c.want, plan.ShortOf)
		}
		for _, s := range plan.ShortOf {
			if s.NeededL <= s.PossibleL || len(s.Groups) == 0 || s.PossibleL < 0 {
				t.Errorf("%s: %+v", c.want, s)
			}
		}
		t.Logf("%s: %+v", c.want, plan.ShortOf)
	}
}

// A hard freeze on full pails calls for a round before it, and old sap for one
// before it is spoilt, even where nothing runs over; spoilt sap is tipped out.
func TestFreezeAndAgeCallForRoundsInTime(t *testing.T) {
	req := sugarbush(4.1, 0)
	for h := range req.AirC[0] {
		req.AirC[0][h] = 3
		if h >= 30 {
			req.AirC[0][h] = -12
		}
	}
	for g := range req.Groups {
		for d := range req.Groups[g].HeldL {
			req.Groups[g].HeldL[d] = 4.6 // the best fifth hold 7.1 of 7.5 L
		}
	}
	plan := PlanRounds(req)
	holds(t, &req, &plan)
	if len(plan.Rounds) == 0 || plan.LossL > 1 {
		t.Fatalf("%+v", plan)
	}
	for _, r := range plan.Rounds {
		for _, g := range r.Groups {
			if g.Why != WhyFreeze || !r.Start.Before(hourOf(30)) || g.Latest.After(hourOf(30)) {
				t.Errorf("%s: %+v", r.Start, g)
			}
		}
	}
	for h := range req.AirC[0] {
		req.AirC[0][h] = 9
	}
	for _, c := range []struct {
		used float64
		tip  bool
	}{{0.6, false}, {1.1, true}} {
		for g := range req.Groups {
			req.Groups[g].AgeUsed = c.used
		}
		plan = PlanRounds(req)
		if len(plan.Rounds) == 0 && !c.tip {
			t.Errorf("sap that grows old: %+v", plan)
		}
		for _, r := range plan.Rounds {
			for _, g := range r.Groups {
				if g.TipOut != c.tip || !c.tip && g.Why != WhyAge {
					t.Errorf("%.1f of its life used: %+v", c.used, g)
				}
			}
		}
	}
	for g := range req.Groups {
		req.Groups[g].AgeUsed = 0
	}
	for h := range req.AirC[0] {
		req.AirC[0][h] = 1
	}
	if plan := PlanRounds(req); len(plan.Rounds) != 0 {
		t.Errorf("nothing presses, yet somebody goes: %+v", plan.Rounds)
	}
}

// Two people with the same hours share the walking.
func TestWalkingIsShared(t *testing.T) {
	req := sugarbush(5, 2)
	req.Costs.CarryL = 0
	for k := range req.Helpers {
		req.Helpers[k].Free = req.Helpers[0].Free
	}
	plan := PlanRounds(req)
	minutes := map[string]int{}
	for _, r := range plan.Rounds {
		for _, id := range r.Who {
			minutes[id] += r.Minutes
		}
	}
	for _, r := range plan.Rounds {
		if len(r.Who) != 1 {
			continue
		}
		for _, h := range req.Helpers {
			if minutes[h.ID] < minutes[r.Who[0]]-r.Minutes && !slices.ContainsFunc(plan.Rounds, func(o Round) bool {
				return slices.Contains(o.Who, h.ID) && o.Start.Before(r.End) && o.End.After(r.Start)
			}) {
				t.Errorf("%s walks %d minutes, %s %d", r.Who[0], minutes[r.Who[0]], h.ID, minutes[h.ID])
			}
		}
	}
}

func TestNobodyAndNothing(t *testing.T) {
	if plan := PlanRounds(PlanRequest{Start: midnight, Now: midnight}); len(plan.Rounds) != 0 {
		t.Errorf("%+v", plan)
	}
	req := sugarbush(6, 3)
	req.Helpers = nil
	if plan := PlanRounds(req); len(plan.Rounds) != 0 || plan.LossL != plan.LossWithoutL || len(plan.ShortOf) == 0 {
		t.Errorf("nobody is there: %+v", plan)
	}
	req = sugarbush(6, 3)
	req.Now = hourOf(17.2)
	for _, r := range PlanRounds(req).Rounds {
		if r.Start.Before(req.Now.Truncate(time.Minute)) {
			t.Errorf("a round at %s, before now", r.Start)
		}
	}
}
