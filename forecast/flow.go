package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/parallel"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// groupFlow is the flow of one group's usual tap, litres an hour.
type groupFlow struct {
	past    []float64   // as it most likely was
	strands [][]float64 // the past along each strand
	of      []int       // the strand of each member
	alike   int         // the first of the groups that run alike, which share all but their past
	futures [][]float64 // of each member
}

// before is the past that a member comes from.
func (f *groupFlow) before(member int) []float64 { return f.strands[f.of[member]] }

// today is what has run today along each strand, litres a tap.
func (f *groupFlow) today(c *calendar) []float64 {
	out := make([]float64, len(f.strands))
	for n, past := range f.strands {
		for _, q := range past[min(c.pastFrom, len(past)):] {
			out[n] += q
		}
	}
	return out
}

// strands are the past of a bush, followed side by side for each offset that its air may
// have from that of the forecast.
type strands struct {
	offsets []float64 // K
	stands  []stand
	past    []weather.Series // the bush's own
	taps    [][]sap.State    // by group and strand, at the end of the past
	ends    [][]sap.State    // by group and member, at the end of the futures
	fresh   [][]freshDays    // by group and member
	flow    []groupFlow      // without futures
	frozen  [][]float64      // the share of the wood that was ice, by strand
	ice     []float64        // the same, as it most likely was
}

// stand is the trees of groups whose wood is alike.
type stand struct {
	tree    *trunk.Tree
	density float64 // kg/m³
	groups  []int
	states  []trunk.State // by strand, at the end of the past
	ends    []trunk.State // by member, at the end of the futures
}

// standsOf are the trees of a site, those of its groups that are of one wood together.
func standsOf(site *Site) (stands []stand) {
	for g := range site.Groups {
		density := maple.Of(site.Groups[g].Species).DensityKgM3
		i := slices.IndexFunc(stands, func(s stand) bool { return s.density == density })
		if i < 0 {
			i = len(stands)
			stands = append(stands, stand{density: density,
				tree: trunk.NewTreeOf(trunk.Maple(site.TreeDiameterM, density), site.Exposure, site.Place)})
		}
		stands[i].groups = append(stands[i].groups, g)
	}
	return stands
}

// followPast runs the site's trees, and the taps of each group with them, through the past
// of a forecast's air.
func followPast(site *Site, e *weather.Ensemble, offsets []float64) *strands {
	s := &strands{offsets: offsets, stands: standsOf(site)}
	first := e.Past.At(weather.TemperatureC, 0)
	if math.IsNaN(first) && len(e.Futures) > 0 {
		first = e.Futures[0].At(weather.TemperatureC, 0)
	}
	hours := e.Past.Hours()
	for _, k := range offsets {
		own := e.Past.Slice(0, hours)
		own.Warm(k)
		s.past = append(s.past, own)
	}
	s.flow, s.taps = make([]groupFlow, len(site.Groups)), make([][]sap.State, len(site.Groups))
	for g, first := range alikeOf(site.Groups) {
		s.flow[g].alike = first
	}
	s.frozen = make([][]float64, len(offsets))
	for n := range offsets {
		s.frozen[n] = make([]float64, hours)
	}
	for i := range s.stands {
		of := &s.stands[i]
		wood := make([][]trunk.Hour, len(offsets))
		for n, k := range offsets {
			wood[n] = make([]trunk.Hour, hours)
			of.states = append(of.states, of.tree.Rest(first+k))
		}
		of.tree.RunMembers(of.states, s.past, e.PastSuns, wood)
		share := float64(len(of.groups)) / float64(len(site.Groups))
		for n := range offsets {
			for i := range wood[n] {
				s.frozen[n][i] += share * sap.Usual.Frozen(&wood[n][i])
			}
		}
		for n := range offsets {
			holes := make(freshHoles, 1)
			for _, g := range of.groups {
				group := &site.Groups[g]
				if first := s.flow[g].alike; first != g {
					s.taps[g], s.flow[g].strands = s.taps[first], s.flow[first].strands
					continue
				}
				tap, flow := holes.run(sap.Begin(wood[n]), group.VacuumKPa, wood[n])
				tap.WarmHours = ageBefore(group, e, wood[n])
				since(group, &tap, &s.past[n], wood[n], flow)
				s.taps[g], s.flow[g].strands = append(s.taps[g], tap), append(s.flow[g].strands, flow)
			}
		}
	}
	return s
}

// weigh fills in how the flow most likely was, by what visits taught: the mean of the
// strands, each by its own yield, as a share of the yield of all.
func (s *strands) weigh(bush *volume.Bush) {
	weights := bush.Weights()
	s.ice = make([]float64, s.past[0].Hours())
	for n, w := range weights {
		for i, ice := range s.frozen[n] {
			s.ice[i] += w * ice
		}
	}
	for g := range s.flow {
		f := &s.flow[g]
		f.past = make([]float64, s.past[0].Hours())
		all, _ := bush.LogYield(g)
		for n, w := range weights {
			if w < leastStrand {
				continue
			}
			w *= math.Exp(bush.StrandYield(n, g) - all)
			for i, q := range f.strands[n] {
				f.past[i] += w * q
			}
		}
	}
}

// leastStrand is the weight below which a strand does not count in a mean.
const leastStrand = 1e-4

// foresee runs trees and taps on from the past through every future, each from the end of
// the strand of its member. frozen is the share of the wood that is ice, by hour of the
// future, the mean of the members.
func (s *strands) foresee(site *Site, e *weather.Ensemble, of []int, c *calendar) (frozen []float64) {
	hours := e.Futures[0].Hours()
	s.ends, s.fresh = make([][]sap.State, len(site.Groups)), make([][]freshDays, len(site.Groups))
	frozen = make([]float64, hours)
	all := make([]trunk.Hour, len(e.Futures)*hours)
	for i := range s.stands {
		stand := &s.stands[i]
		wood := make([][]trunk.Hour, len(e.Futures))
		stand.ends = make([]trunk.State, len(e.Futures))
		for m := range wood {
			wood[m] = all[m*hours : (m+1)*hours]
			stand.ends[m] = stand.states[of[m]].Clone()
		}
		stand.tree.RunMembers(stand.ends, e.Futures, e.FutureSuns, wood)
		var firsts []int
		for _, g := range stand.groups {
			s.flow[g].of = of
			if first := s.flow[g].alike; first != g {
				s.flow[g].futures, s.ends[g], s.fresh[g] = s.flow[first].futures, s.ends[first], s.fresh[first]
				continue
			}
			firsts = append(firsts, g)
			s.flow[g].futures = make([][]float64, len(e.Futures))
			s.ends[g], s.fresh[g] = make([]sap.State, len(e.Futures)), make([]freshDays, len(e.Futures))
		}
		parallel.Each(len(e.Futures), func(_, m int) {
			holes := make(freshHoles, 1)
			for _, g := range firsts {
				tap := s.taps[g][of[m]]
				then, flow := holes.run(tap, site.Groups[g].VacuumKPa, wood[m])
				then.WarmHours = tap.WarmHours
				s.fresh[g][m] = byDays(flow, wood[m], c)
				since(&site.Groups[g], &then, &e.Futures[m], wood[m], flow)
				s.flow[g].futures[m], s.ends[g][m] = flow, then
			}
		})
		share := float64(len(stand.groups)) / float64(len(site.Groups))
		for i := range all {
			frozen[i%hours] += sap.Usual.Frozen(&all[i]) * share / float64(len(e.Futures))
		}
	}
	return frozen
}

// freshDays are what a hole that never ages gives on each day of the calendar, litres, and
// the warm hours by which one ages; and, behind them, those in the hours after its end.
type freshDays struct{ litres, warmHours []float64 }

func byDays(flow []float64, wood []trunk.Hour, c *calendar) freshDays {
	f := freshDays{make([]float64, len(c.dates)+1), make([]float64, len(c.dates)+1)}
	for h, d := range c.futureDay {
		if d < 0 {
			d = len(c.dates)
		}
		f.litres[d] += flow[h]
		f.warmHours[d] += sap.AgeRate(wood[h].WoodC)
	}
	return f
}

// then are these days and those that follow.
func (f *freshDays) then(next *freshDays) freshDays {
	after := len(f.litres) - 1
	join := func(a, b []float64) []float64 {
		if len(b) == 0 {
			return a[:after]
		}
		out := slices.Concat(a[:after], b[:len(b)-1])
		if after < len(out) {
			out[after] += a[after]
		}
		return out
	}
	return freshDays{join(f.litres, next.litres), join(f.warmHours, next.warmHours)}
}

// freshHoles are the flows of fresh tapholes in one tree's wood, by vacuum in kPa: how
// groups differ otherwise is in the age of their holes.
type freshHoles map[float64]freshHole

type freshHole struct {
	end  sap.State
	flow []float64
}

// run is the flow of a fresh hole that is in a state, a copy for each that asks, and its
// state in the end.
func (f freshHoles) run(from sap.State, vacuumKPa float64, wood []trunk.Hour) (sap.State, []float64) {
	one, known := f[vacuumKPa]
	if !known {
		one = freshHole{from, make([]float64, len(wood))}
		sap.Usual.Fresh(&one.end, wood, vacuumKPa, one.flow)
		f[vacuumKPa] = one
	}
	return one.end, slices.Clone(one.flow)
}

// since lets the holes of a group age through hours of weather, and forgets what would
// have flowed while they were not bored, or pulled. Each time that they are bored they are
// fresh.
func since(g *Group, tap *sap.State, w *weather.Series, wood []trunk.Hour, flow []float64) {
	hour := func(t time.Time, open int) int {
		if t.IsZero() {
			return open
		}
		return min(max(w.Index(t), 0), len(wood))
	}
	at := 0
	for _, s := range g.spells() {
		if bored := max(hour(s.From, at), at); bored > 0 {
			clear(flow[at:bored])
			at, tap.WarmHours = bored, 0
		}
		pulled := max(hour(s.To, len(wood)), at)
		g.hole().Age(tap, wood[at:pulled], flow[at:pulled])
		at = pulled
	}
	clear(flow[at:])
}

// hole is how the tapholes of a group age: microbes dry up an open one sooner than one that
// ends in tubing, and soonest where air is drawn in as the flow stops.
func (g *Group) hole() *sap.Parameters {
	switch g.Method {
	case volume.TubingGravity:
		return &gravityHole
	case volume.TubingVacuum:
		return &vacuumHole
	case volume.Pail, volume.Bag:
	}
	return &sap.Usual
}

var gravityHole, vacuumHole = lasting(1.25), lasting(1.8)

// lasting is the usual taphole that lives so much longer: four to six weeks with pails, a
// quarter longer with clean spouts on tubing, eight to ten weeks under vacuum (common
// practice).
func lasting(longer float64) sap.Parameters {
	p := sap.Usual
	p.AgeHalfHours *= longer
	return p
}

// ageBefore estimates how far a taphole had aged before the known past begins,
// at the past's own mean rate.
func ageBefore(g *Group, e *weather.Ensemble, wood []trunk.Hour) float64 {
	start := e.Past.Start()
	for _, s := range g.spells() {
		if s.From.IsZero() || len(wood) == 0 || !s.From.Before(start) || !s.To.IsZero() && s.To.Before(start) {
			continue
		}
		rate := 0.0
		for i := range wood {
			rate += sap.AgeRate(wood[i].WoodC) / float64(len(wood))
		}
		return rate * start.Sub(s.From).Hours() / 2 // earlier was colder
	}
	return 0
}
