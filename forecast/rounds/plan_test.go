package rounds

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

var morning = time.Date(2026, 3, 20, 10, 0, 0, 0, time.UTC)

// invented makes groups with random flows, and the air of four members.
func invented(rng *rand.Rand, groups, hours int) ([]Load, [][]float64) {
	const draws = 8
	air := make([][]float64, 4)
	for k := range air {
		air[k] = make([]float64, hours)
		for h := range air[k] {
			air[k][h] = -2 + 8*math.Sin(float64(h)/24*2*math.Pi) - 6*rng.Float64()*float64(h)/float64(hours)
		}
	}
	var loads []Load
	for range groups {
		l := Load{Fill: Fill{Taps: 10 + rng.IntN(50), ContainerL: 4 + 6*rng.Float64(), Start: morning}, AgeUsed: 0.3 * rng.Float64()}
		for d := range draws {
			flow := make([]float64, hours)
			for h := range flow {
				flow[h] = max(0, 0.35*math.Sin(float64(h)/24*2*math.Pi)) * 2 * rng.Float64()
			}
			l.FlowL = append(l.FlowL, flow)
			l.HeldL = append(l.HeldL, float64(d%3))
		}
		loads = append(loads, l)
	}
	return loads, air
}

func someSlots(hours ...int) []Slot {
	var s []Slot
	for _, h := range hours {
		s = append(s, Slot{Hour: h})
	}
	return s
}

// worth is a plan's whole cost if every round goes to all groups.
func worth(loads []Load, slots []Slot, air [][]float64, t Team, chosen []int) float64 {
	m := newLosses(loads, slots, air, t)
	all := make([]int, len(loads))
	for i := range all {
		all[i] = i
	}
	sum, trips, from := 0.0, 0, -1
	for _, j := range chosen {
		l, k := m.segment(all, from, j)
		sum, trips, from = sum+l, trips+k, j
	}
	if trips > maxTrips {
		return math.Inf(1)
	}
	return sum + m.tail(all, from) + t.TripWorthL*float64(trips)
}

// Against every subset of the slots, on a few hundred small cases.
func TestPlanIsTheBestOfAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 9))
	for n := range 300 {
		loads, air := invented(rng, 1+n%3, 96)
		slots := someSlots(6, 11, 23, 30, 35, 52, 59, 78)
		team := Team{TripWorthL: 40 * rng.Float64(), MaxAge: 0.5 + rng.Float64()}
		if n%4 == 0 {
			team.TankL = 60 + 200*rng.Float64()
		}
		if n%5 == 0 {
			slots[rng.IntN(len(slots))].Pinned = true
		}
		best := math.Inf(1)
		for set := range 1 << len(slots) {
			var chosen []int
			ok := true
			for j := range slots {
				if set>>j&1 == 1 {
					chosen = append(chosen, j)
				} else if slots[j].Pinned {
					ok = false
				}
			}
			if ok {
				best = min(best, worth(loads, slots, air, team, chosen))
			}
		}
		p := MakePlan(loads, slots, air, team)
		walk := 0.0
		for _, l := range loads {
			walk += notWorthL * float64(l.Taps) * float64(len(slots))
		}
		got := p.LossL + team.TripWorthL*float64(p.Trips)
		if got > best+walk+1e-6 || len(loads) == 1 && got < best-1e-6 {
			t.Fatalf("case %d: plan costs %.3f, the best of all %.3f", n, got, best)
		}
		if p.LossL > p.IfNobodyGoes+1e-6 {
			t.Fatalf("case %d: with rounds %.1f L are lost, without %.1f", n, p.LossL, p.IfNobodyGoes)
		}
	}
}

// The dynamic programme itself, before groups are left out, is exact.
func TestProgrammeIsExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 9))
	for range 100 {
		loads, air := invented(rng, 2, 72)
		for g := range loads {
			loads[g].Taps = 1000 // so that leaving one out is never worth it
		}
		slots := someSlots(8, 20, 32, 44, 56, 68)
		team := Team{TripWorthL: 3000 * rng.Float64()}
		best := math.Inf(1)
		for set := range 1 << len(slots) {
			var chosen []int
			for j := range slots {
				if set>>j&1 == 1 {
					chosen = append(chosen, j)
				}
			}
			best = min(best, worth(loads, slots, air, team, chosen))
		}
		p := MakePlan(loads, slots, air, team)
		var chosen []int
		for _, r := range p.Rounds {
			for j := range slots {
				if slots[j].Hour == r.Slot.Hour {
					chosen = append(chosen, j)
				}
			}
		}
		if got := worth(loads, slots, air, team, chosen); got > best+0.15*float64(len(chosen))*2*100+1e-6 {
			t.Fatalf("plan costs %.2f, the best of all %.2f", got, best)
		}
	}
}

func TestPinnedAndForbiddenTimesBendThePlan(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	loads, air := invented(rng, 1, 72)
	slots := someSlots(8, 20, 32, 44, 56)
	free := MakePlan(loads, slots, air, Team{TripWorthL: 20})
	slots[3].Pinned = true
	pinned := MakePlan(loads, slots, air, Team{TripWorthL: 20})
	found := false
	for _, r := range pinned.Rounds {
		found = found || r.Slot.Hour == 44
	}
	if !found {
		t.Errorf("no round at the pinned time: %+v", pinned.Rounds)
	}
	forbidden := free.Rounds[0].Slot.Hour
	var rest []Slot
	for _, s := range someSlots(8, 20, 32, 44, 56) {
		if s.Hour != forbidden {
			rest = append(rest, s)
		}
	}
	if bent := MakePlan(loads, rest, air, Team{TripWorthL: 20}); len(bent.Rounds) == 0 || bent.LossL < free.LossL-1e-6 {
		t.Errorf("%+v", bent)
	}
}

// A hard freeze on full pails calls for a round before it, and old sap for one
// before it is spoilt, even where nothing runs over.
func TestFreezeAndAgeCallForRounds(t *testing.T) {
	const hours = 72
	flow, air := make([]float64, hours), make([]float64, hours)
	for h := range air {
		air[h] = 4
		if h >= 40 {
			air[h] = -12
		}
	}
	load := Load{Fill: Fill{Taps: 50, ContainerL: 7.5, Start: morning, FlowL: [][]float64{flow}, HeldL: []float64{6.2}}}
	slots := someSlots(10, 30, 50)
	team := Team{TripWorthL: 20}
	if p := MakePlan([]Load{load}, slots, [][]float64{air}, team); len(p.Rounds) != 1 || p.Rounds[0].Slot.Hour > 30 || p.LossL > 1 {
		t.Errorf("full pails before a hard freeze: %+v", p)
	}
	for h := range air {
		air[h] = 9
	}
	load.HeldL, load.AgeUsed, team.MaxAge = []float64{3}, 0.6, 1
	if p := MakePlan([]Load{load}, slots, [][]float64{air}, team); len(p.Rounds) != 1 || p.LossL > 1 {
		t.Errorf("sap that grows old: %+v", p)
	}
	load.AgeUsed = 0
	for h := range air {
		air[h] = 1
	}
	if p := MakePlan([]Load{load}, slots, [][]float64{air}, team); len(p.Rounds) != 0 {
		t.Errorf("nothing presses, yet somebody goes: %+v", p)
	}
}

// A week at 3.3 °C, six days at 4.4, three at 10, in clean vessels: extension
// rule and Olley-Ratkowsky, worked by hand (from memory).
func TestSapKeepsAsLongAsTheRuleSays(t *testing.T) {
	for c, days := range map[float64]float64{3.33: 7, 4.4: 6, 10: 3.1, 20: 1.4} {
		air := make([]float64, 24*20)
		for i := range air {
			air[i] = c
		}
		got := BoilBy(morning, 0, air, 1, TankHygiene).Sub(morning).Hours() / 24
		if math.Abs(got-days) > 0.15 {
			t.Errorf("%.1f °C: %.2f days, want %.1f", c, got, days)
		}
	}
	if BoilBy(morning, 0.9, []float64{20}, 1, 1).Sub(morning) > 5*time.Hour {
		t.Error("old sap keeps as long as fresh")
	}
}

func TestPailKeepsItsIce(t *testing.T) {
	var p Pail
	for range 10 {
		p.Hour(0.2, -6)
	}
	if p.IceL < 0.4 || math.Abs(p.IceL+p.LiquidL-2) > 1e-9 {
		t.Errorf("%+v", p)
	}
	ice := p.IceL
	if l := p.Empty(); math.Abs(l+ice-2) > 1e-9 || p.IceL != ice {
		t.Errorf("%.2f L out, %+v left", l, p)
	}
	for range 40 {
		p.Hour(0, 8)
	}
	if p.IceL > 0 || math.Abs(p.LiquidL-ice) > 1e-9 {
		t.Errorf("%+v", p)
	}
}

// A week for twenty groups.
func BenchmarkPlanOfAWeek(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	const hours, draws = 168, 102
	var loads []Load
	air := make([][]float64, 51)
	for k := range air {
		air[k] = make([]float64, hours)
		for h := range air[k] {
			air[k][h] = 7*math.Sin(float64(h)/24*2*math.Pi) + 3*rng.NormFloat64()
		}
	}
	for range 20 {
		l := Load{Fill: Fill{Taps: 50, ContainerL: 7.5, Start: morning}}
		for range draws {
			flow := make([]float64, hours)
			for h := range flow {
				flow[h] = max(0, 0.4*math.Sin(float64(h)/24*2*math.Pi)) * 2 * rng.Float64()
			}
			l.FlowL, l.HeldL = append(l.FlowL, flow), append(l.HeldL, 1)
		}
		loads = append(loads, l)
	}
	var slots []Slot
	for day := range 7 {
		for h := 8; h < 19; h += 2 {
			slots = append(slots, Slot{Hour: 24*day + h})
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		MakePlan(loads, slots, air, Team{TripWorthL: 40, MaxAge: 1})
	}
}
