package forecast

import (
	"math"

	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// groupFlow is the flow of one group's usual tap, litres an hour: hour by hour
// of the past, and of each member's future.
type groupFlow struct {
	past    []float64
	futures [][]float64
}

// runTrees runs the site's trees through the past once and through every
// future from there, and the taps of each group with them. frozen is the share of the
// wood that is ice, by hour of the future, the mean of the members.
func runTrees(site *Site, e *weather.Ensemble) (flows []groupFlow, frozen []float64) {
	tree := trunk.NewTree(site.TreeDiameterM, site.Exposure, site.Place)
	first := e.Past.At(weather.TemperatureC, 0)
	if math.IsNaN(first) && len(e.Futures) > 0 {
		first = e.Futures[0].At(weather.TemperatureC, 0)
	}
	now := tree.Rest(first)
	past := make([]trunk.Hour, e.Past.Hours())
	tree.Run(&now, &e.Past, e.PastSuns, past)

	flows = make([]groupFlow, len(site.Groups))
	taps := make([]sap.State, len(site.Groups))
	for g := range site.Groups {
		flows[g].past = make([]float64, len(past))
		taps[g].WarmHours = ageBefore(&site.Groups[g], e, past)
		runSince(&site.Groups[g], &taps[g], &e.Past, past, flows[g].past)
		flows[g].futures = make([][]float64, len(e.Futures))
	}

	if len(e.Futures) == 0 { // looking back
		return flows, nil
	}
	hours := e.Futures[0].Hours()
	wood := make([][]trunk.Hour, len(e.Futures))
	all := make([]trunk.Hour, len(e.Futures)*hours)
	for m := range wood {
		wood[m] = all[m*hours : (m+1)*hours]
	}
	tree.RunMembers(&now, e.Futures, e.FutureSuns, wood)
	for g := range site.Groups {
		liters := make([]float64, len(e.Futures)*hours)
		for m := range e.Futures {
			tap := taps[g]
			out := liters[m*hours : (m+1)*hours : (m+1)*hours]
			runSince(&site.Groups[g], &tap, &e.Futures[m], wood[m], out)
			flows[g].futures[m] = out
		}
	}
	frozen = make([]float64, hours)
	for i := range all {
		frozen[i%hours] += sap.Usual.Frozen(&all[i]) / float64(len(e.Futures))
	}
	return flows, frozen
}

// runSince runs a tap through hours of weather and forgets what would have
// flowed before it was bored.
func runSince(g *Group, tap *sap.State, w *weather.Series, wood []trunk.Hour, out []float64) {
	bored := 0
	if !g.Tapped.IsZero() {
		bored = min(max(w.Index(g.Tapped), 0), len(wood))
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
