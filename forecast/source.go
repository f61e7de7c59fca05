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
		SeesDays: in.Taught.seesDays(),
	}
}

// usualSeesDays is how far the forecast sees where it has not been measured: with the
// errors of archived US forecasts (nine northern stations, 2021; measured to two days
// ahead, grown beyond) four days ahead it tells more than a third of what the usual
// spring leaves open, once the bush's own air is known; before, three days ahead.
const usualSeesDays = 4

// seesDays is how far the forecast sees at a place.
func (t *Taught) seesDays() int {
	if t.SeesDays > 0 {
		return t.SeesDays
	}
	return usualSeesDays
}
