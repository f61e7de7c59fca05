package forecast

import (
	"slices"

	"thawline/forecast/weather"
)

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
