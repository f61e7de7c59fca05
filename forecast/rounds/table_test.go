package rounds

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// wildBush is one group for which anything may come: hard freezes on full containers, sap
// that is old, that has run over before now, or that no size of container is known for.
func wildBush(seed uint64) PlanRequest {
	req := randomBush(seed, 1, 1)
	rng := rand.New(rand.NewPCG(seed, 77))
	req.Pins = nil
	l := &req.Groups[0]
	more, held := 0.2+1.5*rng.Float64(), 2.5*rng.Float64()
	for d := range l.FlowL {
		for h := range l.FlowL[d] {
			l.FlowL[d][h] *= more
		}
		l.HeldL[d] *= held
		if l.IceL[d] = min(l.IceL[d], l.HeldL[d]) * float64(d%4) / 3; rng.IntN(5) == 0 {
			l.HeldL[d] = 0
		}
	}
	colder := -6 * float64(rng.IntN(3))
	for k := range req.AirC {
		for h := range req.AirC[k] {
			req.AirC[k][h] += colder + 4*rng.Float64()
		}
	}
	if l.TankL > 0 && rng.IntN(2) == 0 {
		l.ContainerL = 1 // nothing hangs in those
	}
	switch rng.IntN(5) {
	case 0:
		req.Costs.MaxAge = 0
	case 1:
		l.ContainerL, l.TankL = 0, 0
	case 2:
		req.Costs.MaxAge = 0.2
	}
	return req
}

// What a table says of any two starts, also of two in one hour, is what every draw comes
// to hour by hour and pail by pail; and what it says before it has worked that out is no more.
func TestTablesOfAnyTwoStarts(t *testing.T) {
	spoilt, burst, over := 0, 0, 0
	for seed := range uint64(100) {
		req := wildBush(seed)
		rng := rand.New(rand.NewPCG(seed, 78))
		var hours []int
		for range 12 {
			hours = append(hours, rng.IntN(96))
		}
		slices.Sort(hours)
		n, group := newNaive(&req, math.Inf(1)), &req.Groups[0]
		n.grid = append(slices.Clone(hours), 96)
		table := tableOf(group, weatherOf(&req), 0.1, hours, new(scratch))
		hour := func(k int) int { return append([]int{-1}, n.grid...)[k+1] }
		for i := -1; i < len(hours); i++ {
			for j := i + 1; j <= len(hours); j++ {
				from, to := hour(i), hour(j)
				want := n.between(0, from, to)
				least := table.atLeast(i, j)
				got := *table.at(i, j)
				if late := (want[0] - want[3] - want[4]) / 1e4; !near(got.price, want[0]) && math.Abs(got.late-late) > 1e-6 || !near(got.sapL, want[1]) ||
					!near(got.risk, want[2]) || !near(got.lossL, want[3]) {
					t.Fatalf("seed %d, %d to %d: %+v, and it is %v", seed, from, to, got, want)
				}
				if again := *table.at(i, j); again != got || table.atLeast(i, j) != got.price {
					t.Fatalf("seed %d, %d to %d: %+v, and asked again %+v", seed, from, to, got, again)
				}
				if least > got.price+1e-6 || !near(least, 1e4*got.late) {
					t.Fatalf("seed %d, %d to %d: at least %g, and it is %+v", seed, from, to, least, got)
				}
				old, aged := n.tooOld(0, from, to), n.aged(0, from, to)
				if table.spoils(i, j) != old || math.Abs(table.aged(i, j)-aged) > 1e-9 {
					t.Fatalf("seed %d, %d to %d: %.4f of its life, and it is %.4f", seed, from, to, table.aged(i, j), aged)
				}
				if sap, hangs := table.sap(i, j), n.hangs(0, from, to); !slices.EqualFunc(sap, hangs, near) {
					t.Fatalf("seed %d, %d to %d: %v, and it is %v", seed, from, to, sap, hangs)
				}
				switch {
				case old:
					spoilt++
				case want[3] > 0 && want[2] == 0:
					burst++
				case want[2] > 0:
					over++
				}
			}
		}
	}
	if spoilt < 50 || burst < 20 || over < 100 {
		t.Errorf("%d spoilt, %d burst, %d run over: they show little", spoilt, burst, over)
	}
}

// A draw whose flow is shorter than others' is dry from there on, and a member whose air is
// shorter says nothing of later hours.
func TestShortDrawsAreDry(t *testing.T) {
	long := wildBush(3)
	short := wildBush(3)
	for d := range long.Groups[0].FlowL {
		if d%2 == 0 {
			clear(long.Groups[0].FlowL[d][60:])
			short.Groups[0].FlowL[d] = short.Groups[0].FlowL[d][:60]
		}
	}
	a := tableOf(&long.Groups[0], weatherOf(&long), 0.1, []int{30, 70, 80}, new(scratch))
	b := tableOf(&short.Groups[0], weatherOf(&short), 0.1, []int{30, 70, 80}, new(scratch))
	for i := -1; i < 3; i++ {
		for j := i + 1; j <= 3; j++ {
			if x, y := *a.at(i, j), *b.at(i, j); x != y {
				t.Errorf("%d to %d: %+v and %+v", i, j, x, y)
			}
		}
	}
	trickle := PlanRequest{AirC: [][]float64{make([]float64, 12)}, Groups: []TapGroup{{Load: Load{Fill: Fill{Taps: 1, HeldL: []float64{0, 0},
		FlowL: [][]float64{{0, 0, 0.0049, 0.005, 1, 0, 0, 0, 0, 0, 0, 0}, {0, 0, 0.0049, 0.005, 1, 0, 0, 0, 0, 0, 0, 0}}}}}}}
	c := tableOf(&trickle.Groups[0], weatherOf(&trickle), 0.1, []int{2, 3, 4, 6}, new(scratch))
	for _, x := range []struct{ from, until, hours int }{{-1, 4, 9}, {0, 4, 9}, {0, 2, 1}, {0, 1, 0}, {3, 4, 0}} {
		if got := c.aged(x.from, x.until); math.Abs(got-float64(x.hours)*LifePerHour(0, 1)) > 1e-12 {
			t.Errorf("from start %d to %d: %g of its life, not %d hours of it", x.from, x.until, got, x.hours)
		}
	}
	air := PlanRequest{AirC: [][]float64{{-1, 2, 3}, {5}}, Groups: []TapGroup{{Load: Load{Fill: Fill{FlowL: [][]float64{{0, 0, 0, 0}}}}}}}
	frost := PlanRequest{AirC: [][]float64{{-9, -7, -8, -8, -9, -7.9, -8.1, -7, -9}}, Groups: []TapGroup{{Load: Load{Fill: Fill{FlowL: [][]float64{make([]float64, 8)}}}}}}
	if f := weatherOf(&frost); !slices.Equal(f.freezes[0], []int{2, 6}) || !slices.Equal(f.frozen[0], []uint8{0, 0, 0, 1, 1, 1, 1, 2, 2}) {
		t.Errorf("hard freezes at %v, over %v", f.freezes, f.frozen)
	}
	w := weatherOf(&air)
	for h, c := range []float64{2, 2, 3, 0} { // means of who says something
		if got, want := w.age[h+1]-w.age[h], LifePerHour(c, PailHygiene); math.Abs(got-want) > 1e-12 {
			t.Errorf("hour %d: ages by %g, not %g", h, got, want)
		}
		if got, want := w.meltsL[h], 0.8*c*3600/333_550; math.Abs(got-want) > 1e-12 {
			t.Errorf("hour %d: melts %g, not %g", h, got, want)
		}
	}
}

// After a night of frost the little that hangs is ice until the day has melted it: a visit at
// seven in the morning brings nothing, one late on the day all of it, and who goes twice gets no
// more. In a mild night the hour makes no difference, of a tank not much. (0.8 W/K of a pail and the heat
// of fusion, from memory: at -10 °C 0.86 L in ten hours.)
func TestNobodyIsSentForIce(t *testing.T) {
	bush := func(night float64) *PlanRequest {
		req := &PlanRequest{Start: midnight, Now: hourOf(20), AirC: [][]float64{make([]float64, 48)}}
		for h := range 48 {
			req.AirC[0][h] = 8
			if h >= 20 && h < 32 {
				req.AirC[0][h] = night
			}
		}
		flow := make([]float64, 48)
		one := Load{Fill: Fill{Taps: 100, ContainerL: 8}}
		one.HeldL, one.FlowL = []float64{0.8}, [][]float64{flow}
		req.Groups = []TapGroup{{ID: "a", Load: one}}
		return req
	}
	starts := []int{21, 31, 46} // nine in the evening, seven in the morning, ten at night
	for _, c := range []struct {
		night float64
		tank  bool
		want  [3]float64
	}{
		{-10, false, [3]float64{71, 0, 80}},
		{-10, true, [3]float64{79, 64, 79}}, // a tank has less surface for what it holds
		{1, false, [3]float64{80, 80, 80}},
	} {
		req := bush(c.night)
		if c.tank {
			req.Groups[0].TankL, req.Groups[0].ContainerL = 500, 0
		}
		table := tableOf(&req.Groups[0], weatherOf(req), 0.1, starts, new(scratch))
		for j, want := range c.want {
			if got := table.at(-1, j).sapL; math.Abs(got-want) > 1 {
				t.Errorf("night of %g, tank %v: at hour %d it brings %.1f L, not %.0f", c.night, c.tank, starts[j], got, want)
			}
		}
		// Who goes all the same finds the ice at the next visit.
		if went := table.at(-1, 1).sapL + table.at(1, 2).sapL; math.Abs(went-c.want[2]) > 1 {
			t.Errorf("night of %g: two visits bring %.1f L of %.0f", c.night, went, c.want[2])
		}
	}
}
