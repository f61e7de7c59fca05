package forecast

import (
	"time"

	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

const overflowHours = 72

func overflowAndRounds(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) ([]Overflow, []Round) {
	overflows, plan := []Overflow{}, []Round{}
	for g := range in.Site.Groups {
		group := &in.Site.Groups[g]
		now := y.now[g]
		held := now.Pail.LiquidL + now.Pail.IceL
		f := rounds.Fill{Taps: group.Taps, ContainerL: group.ContainerL, TankL: group.TankL, Start: e.Futures[0].Start()}
		hours := min(overflowHours, e.Futures[0].Hours())
		for d, row := range y.draws[g] {
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
			ExpectedAt: local(risk.ExpectedAt, in.Site.Zone), SinceVisit: local(now.Since, in.Site.Zone),
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
