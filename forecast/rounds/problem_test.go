package rounds

import (
	"math"
	"slices"
	"testing"
	"time"
)

// days is so many days of a bush with one group of 40 pails, which take 40 minutes, and helpers
// who are free from one hour until another each day.
func days(n int, free ...[2]float64) PlanRequest {
	hours := 24 * n
	req := PlanRequest{Start: midnight, Now: midnight, AirC: [][]float64{make([]float64, hours)}}
	req.Groups = []TapGroup{{ID: "a", Minutes: 40, Load: Load{Fill: Fill{Taps: 40, ContainerL: 8,
		FlowL: [][]float64{make([]float64, hours)}, HeldL: []float64{1}}}}}
	for k, f := range free {
		h := Helper{ID: string(rune('A' + k))}
		for day := range n {
			h.Free = append(h.Free, Span{hourOf(24*float64(day) + f[0]), hourOf(24*float64(day) + f[1])})
		}
		req.Helpers = append(req.Helpers, h)
	}
	for day := range n {
		req.Daylight = append(req.Daylight, Span{hourOf(24*float64(day) + 6.5), hourOf(24*float64(day) + 19)})
	}
	return req
}

// Rounds start on the hour while somebody is free for the shortest, when somebody's hours
// begin, and when somebody has promised one; the first hour of the light is looked at, too.
func TestWhenRoundsMayStart(t *testing.T) {
	at := func(hours ...float64) []int {
		var out []int
		for _, h := range hours {
			out = append(out, int(60*h+0.5))
		}
		return out
	}
	// The shortest takes two of them 20 minutes, and 20 to come and go.
	for name, c := range map[string]struct {
		req  func() PlanRequest
		want []int
	}{
		"nobody":                    {func() PlanRequest { return days(2) }, at(7, 31)},
		"on the hour":               {func() PlanRequest { return days(1, [2]float64{9, 12}) }, at(7, 9, 10, 11)},
		"when hours begin":          {func() PlanRequest { return days(1, [2]float64{9.25, 12}) }, at(7, 9.25, 10, 11)},
		"as short as can be":        {func() PlanRequest { return days(1, [2]float64{9.25, 10 + 40.0/60}) }, at(7, 9.25, 10)},
		"a minute too short":        {func() PlanRequest { return days(1, [2]float64{9.25, 10 + 39.0/60}) }, at(7, 9.25)},
		"no time":                   {func() PlanRequest { return days(1, [2]float64{9.25, 9.25 + 39.0/60}) }, at(7)},
		"just time":                 {func() PlanRequest { return days(1, [2]float64{9.25, 9.25 + 40.0/60}) }, at(7, 9.25)},
		"the light is no beginning": {func() PlanRequest { return days(1, [2]float64{5, 9}) }, at(7, 8)},
		"two":                       {func() PlanRequest { return days(1, [2]float64{9, 11}, [2]float64{10.5, 12}) }, at(7, 9, 10, 10.5, 11)},
		"after now": {func() PlanRequest {
			req := days(2, [2]float64{9.25, 12})
			req.Now = hourOf(10.25)
			return req
		}, at(11, 31, 33.25, 34, 35)},
		"now is no beginning": {func() PlanRequest {
			req := days(1, [2]float64{9.25, 12})
			req.Now = hourOf(9.25)
			return req
		}, at(10, 11)},
		"seconds are a minute": {func() PlanRequest {
			req := days(1, [2]float64{9, 12})
			req.Now = hourOf(10).Add(time.Second)
			return req
		}, at(11)},
		"the hour is now": {func() PlanRequest {
			req := days(1, [2]float64{9, 12})
			req.Now = hourOf(7)
			return req
		}, at(7, 9, 10, 11)},
		"promised": {func() PlanRequest {
			req := days(1, [2]float64{9, 11})
			req.Pins = []Pin{{Start: hourOf(13.5)}, {Start: hourOf(0)}, {Start: hourOf(24)}, {Start: hourOf(-1)}}
			return req
		}, at(0, 7, 9, 10, 13.5)},
		"away": {func() PlanRequest {
			req := days(1, [2]float64{9, 15})
			req.Helpers[0].Away = []Span{{hourOf(10), hourOf(13)}}
			return req
		}, at(7, 9, 13, 14)},
		"forbidden": {func() PlanRequest {
			req := days(1, [2]float64{9, 15})
			req.Forbidden = []Span{{hourOf(0), hourOf(13.5)}}
			return req
		}, at(7, 14)},
		"far too many": {func() PlanRequest { return days(16, [2]float64{8, 17.5}) }, func() (out []int) {
			for day := range 16 { // every fourth, and no fewer
				for _, h := range []int{7, 8, 12, 16} {
					out = append(out, 60*(24*day+h))
				}
			}
			return out
		}()},
		// Of many hours every second is tried, and the first of each.
		"too many": {func() PlanRequest { return days(7, [2]float64{8, 17.5}) },
			at(7, 8, 10, 12, 14, 16, 31, 32, 34, 36, 38, 40, 55, 56, 58, 60, 62, 64, 79, 80, 82, 84, 86, 88, 103, 104, 106, 108, 110, 112,
				127, 128, 130, 132, 134, 136, 151, 152, 154, 156, 158, 160)},
	} {
		req := c.req()
		p := newProblem(&req)
		if !slices.Equal(p.starts, c.want) {
			t.Errorf("%s: %v, not %v", name, p.starts, c.want)
		}
		for h, helper := range p.helpers {
			for j, m := range p.starts {
				free := slices.ContainsFunc(req.Helpers[h].Free, func(s Span) bool {
					return !hourOf(float64(m)/60).Before(s.From) && hourOf(float64(m)/60).Before(s.To)
				})
				if helper.till[j] > 0 && !free || helper.till[j] > 0 && helper.till[j] <= m {
					t.Errorf("%s: until %d from %d", name, helper.till[j], m)
				}
			}
		}
	}
	sixty := days(6, [2]float64{8, 17.5}) // 60 with the light's: each hour is tried
	if p := newProblem(&sixty); len(p.starts) != 60 || p.starts[2] != 9*60 {
		t.Errorf("%d starts: %v", len(p.starts), p.starts)
	}
}

// Groups are split until a part fits into people's shorter hours and the store, six times
// at most and into no less than taps.
func TestGroupsAreSplitUntilTheyFit(t *testing.T) {
	for name, c := range map[string]struct {
		change func(req *PlanRequest)
		parts  int
	}{
		"it fits":                  {func(*PlanRequest) {}, 1},
		"to the minute":            {func(req *PlanRequest) { req.Groups[0].Minutes = 100 }, 1},
		"a minute more":            {func(req *PlanRequest) { req.Groups[0].Minutes = 101 }, 2},
		"three":                    {func(req *PlanRequest) { req.Groups[0].Minutes = 300 }, 3},
		"no more than six":         {func(req *PlanRequest) { req.Groups[0].Minutes = 3000 }, 6},
		"no less than taps":        {func(req *PlanRequest) { req.Groups[0].Taps, req.Groups[0].Minutes = 2, 3000 }, 2},
		"full pails are carried":   {func(req *PlanRequest) { req.Costs.CarryL = 320.0 / 4 }, 1},
		"a fifth time is too long": {func(req *PlanRequest) { req.Costs.CarryL = 319.0 / 4 }, 2},
		"the store takes it":       {func(req *PlanRequest) { req.Store.CapacityL = 320 }, 1},
		"the store takes less":     {func(req *PlanRequest) { req.Store.CapacityL = 319 }, 2},
		"a tank for all":           {func(req *PlanRequest) { req.Groups[0].TankL, req.Store.CapacityL = 100, 50 }, 2},
		"nobody is there":          {func(req *PlanRequest) { req.Helpers, req.Groups[0].Minutes = nil, 3000 }, 1},
		"who has a minute":         {func(req *PlanRequest) { req.Helpers[0].Free = []Span{{hourOf(9), hourOf(9.1)}} }, 1},
		"who has a minute, and an hour": {func(req *PlanRequest) {
			req.Helpers[0].Free, req.Groups[0].Minutes = []Span{{hourOf(9), hourOf(9.1)}}, 41
		}, 2},
	} {
		req := days(4, [2]float64{9, 11})
		c.change(&req)
		p := newProblem(&req)
		l := &req.Groups[0]
		if len(p.parts) != c.parts {
			t.Errorf("%s: %d parts, not %d", name, len(p.parts), c.parts)
		}
		for _, one := range p.parts {
			n := float64(c.parts)
			if want := (part{share: 1 / n, minutes: l.Minutes / n, walkL: 0.1 * float64(l.Taps) / n, tank: l.TankL > 0}); math.Abs(one.share-want.share) > 1e-12 ||
				math.Abs(one.minutes-want.minutes) > 1e-9 || math.Abs(one.walkL-want.walkL) > 1e-9 || one.tank != want.tank || one.first != 0 {
				t.Errorf("%s: %+v, not %+v", name, one, want)
			}
		}
	}
	// The shorter of people's hours are those that a quarter of them have at most.
	req := days(4)
	req.Helpers = []Helper{{Free: []Span{{hourOf(8), hourOf(9)}, {hourOf(32), hourOf(34)}, {hourOf(56), hourOf(60)}, {hourOf(80), hourOf(86)}}}}
	req.Groups[0].Minutes = 100
	if p := newProblem(&req); len(p.parts) != 1 {
		t.Errorf("of 1, 2, 4 and 6 hours two are too short: %d parts", len(p.parts))
	}
	two := days(4, [2]float64{9, 11})
	two.Groups = append(two.Groups, two.Groups[0])
	two.Groups[0].Minutes = 150
	if p := newProblem(&two); len(p.parts) != 3 || p.parts[1].first != 0 || p.parts[2].first != 2 || p.parts[2].group != 1 {
		t.Errorf("%+v", p.parts)
	}
}

// A promise of no groups lasts as long as the light, and as the hours of those who gave it; of
// nobody's hours in the dark three.
func TestHowLongPromisesLast(t *testing.T) {
	for _, c := range []struct {
		start float64
		who   []string
		till  float64
	}{
		{9, []string{"A"}, 12}, {9, []string{"A", "B"}, 11}, {14, []string{"A"}, 19}, {14, []string{"nobody"}, 19},
		{21, []string{"A"}, 24}, {12, []string{"A", "B"}, 19}, {9, nil, 19},
	} {
		req := days(2, [2]float64{8, 12}, [2]float64{8, 11})
		req.Pins = []Pin{{Start: hourOf(30), Groups: []string{"b", "a", "a"}}, {Start: hourOf(c.start), Who: c.who}}
		p := newProblem(&req)
		if q := p.pins[0]; q.of != 2 || q.till != int(60*c.till) || q.minute != int(60*c.start) || p.starts[q.start] != q.minute ||
			len(q.parts) != 0 || len(q.who) != len(c.who) {
			t.Errorf("%+v lasts until %g: %+v", c, float64(q.till)/60, q)
		}
		if q := p.pins[1]; q.of != 1 || !slices.Equal(q.parts, []int{0}) {
			t.Errorf("%+v", q)
		}
	}
}

// The pan takes out of the store what it boils, minute by minute.
func TestWhatThePanTakesOut(t *testing.T) {
	req := days(1, [2]float64{8, 12})
	req.Store.BoiledL = []float64{6, 12, 0, 60} // less than there are hours
	p := newProblem(&req)
	minute := func(m int) float64 {
		if h := m / 60; h < 4 {
			return req.Store.BoiledL[h] / 60
		}
		return 0
	}
	for from := 0; from <= 24*60; from += 25 {
		sum := 0.0
		for to := from; to <= 24*60; to++ {
			if got := p.boils(from, to); math.Abs(got-sum) > 1e-9 {
				t.Fatalf("%d to %d: %g, not %g", from, to, got, sum)
			}
			sum += minute(to)
		}
	}
	if got := p.boils(3*60, 30*60); got != 60 {
		t.Errorf("beyond the plan's end: %g", got)
	}
	for litres, trips := range map[float64]int{0: 1, 99: 1, 100: 1, 101: 2, 200: 2, 1000: 10} {
		if p.costs.CarryL = 100; p.trips(litres) != trips {
			t.Errorf("%g L in %d trips", litres, p.trips(litres))
		}
		if p.costs.CarryL = 0; p.trips(litres) != 1 {
			t.Errorf("%g L in %d trips at once", litres, p.trips(litres))
		}
	}
}
