package forecast

import (
	"slices"

	"thawline/forecast/weather"
)

func bushOf(site *Site) Bush {
	b := Bush{Name: site.Name, Zone: site.Zone.String(), Taps: site.Taps()}
	for _, g := range site.Groups {
		b.Groups = append(b.Groups, GroupName{g.ID, g.Name, g.Taps, g.CapacityL()})
	}
	return b
}

func sourceOf(in *Inputs, e *weather.Ensemble, c *calendar) Source {
	spread := "estimated"
	if e.FromSource {
		spread = "members"
	}
	return Source{
		Name: in.Bulletin.Source, IssuedAt: in.Bulletin.IssuedAt.UTC(),
		AgeHours: round(max(in.Now.Sub(in.Bulletin.IssuedAt).Hours(), 0), 2),
		Members:  len(e.Futures), Spread: spread, Kept: in.Kept, PastHours: e.Past.Hours(),
		PassedOver: in.PassedOver, Remarks: slices.Concat(in.Bulletin.Remarks, e.Remarks), CoversDays: len(c.dates),
	}
}

// limbsFallMS is a mean wind that brings limbs down, a strong breeze (common
// practice).
const limbsFallMS = 11

// cautions picks what is dangerous about the coming day: wind that brings limbs
// down, ice underfoot, cold, heavy pails, hot pans.
func cautions(o *Outlook, e *weather.Ensemble, c *calendar) []Caution {
	const (
		bitterC = -18 // 0 °F
		heavyL  = 100
	)
	out := []Caution{CautionEstimate}
	if len(o.Days) < 2 {
		return append(out, CautionHotPan)
	}
	tomorrow := o.Days[1]
	windy := 0.0
	for h, d := range c.futureDay {
		if d == 1 {
			windy = max(windy, e.Futures[0].At(weather.WindSpeedMS, h))
		}
	}
	if tomorrow.TemperatureC.Min < 0 && tomorrow.TemperatureC.Max > 0 {
		out = append(out, CautionIce)
	}
	if windy >= limbsFallMS {
		out = append(out, CautionWind)
	}
	if tomorrow.TemperatureC.Min <= bitterC {
		out = append(out, CautionCold)
	}
	if tomorrow.VolumeL.P50 >= heavyL {
		out = append(out, CautionLifting)
	}
	return append(out, CautionHotPan)
}
