// Package forecast makes the outlook of a sugarbush, from weather to litres.
package forecast

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Inputs is everything an outlook depends on.
type Inputs struct {
	Site     Site
	Bulletin weather.Bulletin
	Kept     bool     // the bulletin is the last good one: no service answered
	Passed   []string // services that gave nothing, and why
	Visits   []records.Visit
	Now      time.Time
	Seed     uint64
}

// drawsPerMember is how many yields are tried with each member of the weather.
const drawsPerMember = 8

// Make works out the outlook: weather, trunk, sap, volume, then what they mean
// for containers, fire and season. It does no I/O, and the same inputs give the
// same outlook.
func Make(in Inputs) (Outlook, error) {
	if in.Site.Taps() <= 0 {
		return Outlook{}, fmt.Errorf("site %s has no taps: give each group its number of taps", in.Site.ID)
	}
	ensemble, err := weather.Assemble(&in.Bulletin, in.Site.Place, in.Now, in.Seed)
	if err != nil {
		return Outlook{}, fmt.Errorf("outlook for %s: %w", in.Site.ID, err)
	}
	flow := runTrees(&in.Site, &ensemble)
	calendar := newCalendar(in.Now, in.Site.Zone, &ensemble)
	draws := drawVolumes(&in.Site, flow, calendar, in.Seed)

	o := Outlook{
		Site:     in.Site.ID,
		Bush:     bushOf(&in.Site),
		IssuedAt: in.Now.In(in.Site.Zone),
		Source:   sourceOf(&in, &ensemble, calendar),
		Days:     makeDays(&in.Site, &ensemble, flow, calendar, draws),
		Season:   seasonOf(&in.Site, in.Now),
	}
	o.Overflow, o.Rounds = overflowAndRounds(&in, &ensemble, flow, calendar, draws)
	o.Boil = boilDays(o.Days, &ensemble, calendar)
	o.Cautions = cautions(&o, &ensemble, calendar)
	o.Attribution = in.Bulletin.Credits
	return o, nil
}

func bushOf(site *Site) Bush {
	b := Bush{Name: site.Name, Zone: site.Zone.String(), Taps: site.Taps()}
	for _, g := range site.Groups {
		b.Groups = append(b.Groups, GroupName{g.ID, g.Name, g.Taps})
	}
	return b
}

// groupFlow is the flow of one group's usual tap, litres an hour: hour by hour
// of the past, and of each member's future.
type groupFlow struct {
	past    []float64
	futures [][]float64
}

// runTrees runs the site's trees through the past once and through every
// future from there, and the taps of each group with them.
func runTrees(site *Site, e *weather.Ensemble) []groupFlow {
	tree := trunk.NewTree(site.TreeDiameterM, site.Exposure, site.Place)
	first := e.Past.At(weather.TemperatureC, 0)
	if math.IsNaN(first) {
		first = e.Futures[0].At(weather.TemperatureC, 0)
	}
	now := tree.Rest(first)
	past := make([]trunk.Hour, e.Past.Hours())
	tree.Run(&now, &e.Past, trunk.Suns(&e.Past, site.Place), past)

	flows := make([]groupFlow, len(site.Groups))
	taps := make([]sap.State, len(site.Groups))
	for g := range site.Groups {
		flows[g].past = make([]float64, len(past))
		taps[g].WarmHours = ageBefore(&site.Groups[g], e, past)
		runSince(&site.Groups[g], &taps[g], &e.Past, past, flows[g].past)
		flows[g].futures = make([][]float64, len(e.Futures))
	}

	hours := e.Futures[0].Hours()
	suns := trunk.Suns(&e.Futures[0], site.Place)
	wood := make([]trunk.Hour, hours)
	state := tree.Rest(0)
	for m := range e.Futures {
		state.Copy(&now)
		tree.Run(&state, &e.Futures[m], suns, wood)
		for g := range site.Groups {
			tap := taps[g]
			out := make([]float64, hours)
			sap.Usual.Run(&tap, wood, site.Groups[g].VacuumKPa, out)
			flows[g].futures[m] = out
		}
	}
	return flows
}

// runSince runs a tap through the past and forgets what would have flowed
// before it was bored.
func runSince(g *Group, tap *sap.State, past *weather.Series, wood []trunk.Hour, out []float64) {
	bored := 0
	if !g.Tapped.IsZero() {
		bored = min(max(past.Index(g.Tapped), 0), len(wood))
	}
	sap.Usual.Run(tap, wood[:bored], g.VacuumKPa, out[:bored])
	if bored > 0 {
		tap.WarmHours = 0
		clear(out[:bored])
	}
	sap.Usual.Run(tap, wood[bored:], g.VacuumKPa, out[bored:])
}

// ageBefore estimates how far a taphole had aged before the known past begins,
// at the past's own mean rate.
func ageBefore(g *Group, e *weather.Ensemble, wood []trunk.Hour) float64 {
	if g.Tapped.IsZero() || len(wood) == 0 || !g.Tapped.Before(e.Past.Start()) {
		return 0
	}
	rate := 0.0
	for i := range wood {
		rate += sap.AgeRate(wood[i].WoodC) / float64(len(wood))
	}
	return rate * e.Past.Start().Sub(g.Tapped).Hours() / 2 // earlier was colder
}

// groupDraws holds the factors of one group, a row of days for each draw; draw
// d goes with member d / drawsPerMember.
type groupDraws [][]float64

func drawVolumes(site *Site, flow []groupFlow, c *calendar, seed uint64) []groupDraws {
	draws := make([]groupDraws, len(site.Groups))
	count := len(flow[0].futures) * drawsPerMember
	for g := range site.Groups {
		draws[g] = volume.Prior(site.Groups[g].Method).Factors(count, len(c.dates), seed+uint64(g))
	}
	return draws
}

// lastVisit is when a group was last emptied, as far as the records of the last
// week tell: zero if they don't.
func lastVisit(visits []records.Visit, site *Site, group string, now time.Time) time.Time {
	var last time.Time
	for i := range visits {
		v := &visits[i]
		if (v.Group == "" || v.Group == group) && (v.Site == "" || v.Site == site.ID) && v.Collected() &&
			!v.CollectedAt.After(now) && v.CollectedAt.After(last) {
			last = v.CollectedAt
		}
	}
	if now.Sub(last) > longestUnwatched {
		return time.Time{}
	}
	return last
}

const (
	longestUnwatched = 7 * 24 * time.Hour // a visit longer ago than this says nothing about the pails
	overflowHours    = 72
)

func overflowAndRounds(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, draws []groupDraws) ([]Overflow, []Round) {
	overflows, plan := []Overflow{}, []Round{}
	for g := range in.Site.Groups {
		group := &in.Site.Groups[g]
		since := lastVisit(in.Visits, &in.Site, group.ID, in.Now)
		held := 0.0
		if !since.IsZero() {
			for i := max(e.Past.Index(since), 0); i < len(flow[g].past); i++ {
				held += flow[g].past[i]
			}
		}
		f := rounds.Fill{Taps: group.Taps, ContainerL: group.ContainerL, TankL: group.TankL, Start: e.Futures[0].Start()}
		hours := min(overflowHours, e.Futures[0].Hours())
		for d, row := range draws[g] {
			own := make([]float64, hours)
			for h := range own {
				if day := c.futureDay[h]; day >= 0 {
					own[h] = flow[g].futures[d/drawsPerMember][h] * row[day]
				}
			}
			f.FlowL = append(f.FlowL, own)
			f.HeldL = append(f.HeldL, held*row[0])
		}
		risk := f.Overflows()
		entry := Overflow{
			Group: group.ID, Probability: round(risk.Probability, 3), LossL: round(risk.LossL, 1),
			ExpectedAt: local(risk.ExpectedAt, in.Site.Zone), SinceVisit: local(since, in.Site.Zone),
			HeldL: round(quantiles(f.HeldL).P50*float64(group.Taps), 1),
		}
		overflows = append(overflows, entry)
		if by := local(risk.GatherBy, in.Site.Zone); by != nil {
			plan = append(plan, Round{Group: group.ID, GatherBy: *by, VolumeL: heldBy(&f, by.Sub(f.Start), group.Taps)})
		}
	}
	return overflows, plan
}

// heldBy is what a group's containers are likely to hold after so long, in
// litres, what has run over not counted out.
func heldBy(f *rounds.Fill, after time.Duration, taps int) Range {
	held := make([]float64, len(f.FlowL))
	for d, flow := range f.FlowL {
		held[d] = f.HeldL[d]
		for h := 0; h < len(flow) && h < int(after.Hours()); h++ {
			held[d] += flow[h]
		}
		held[d] *= float64(taps)
	}
	return quantiles(held)
}

func local(t time.Time, zone *time.Location) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.In(zone)
	return &t
}
