package forecast

import (
	"math"
	"time"

	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// seasonOf tells where in the season the site stands and when it may end: by
// the buds where the spring is known from its beginning, else by what is usual
// at the place.
func seasonOf(in *Inputs, e *weather.Ensemble) Season {
	site := &in.Site
	here := in.Now.In(site.Zone)
	end := season.UsualEnd(site.Place.LatitudeDeg, site.Place.ElevationM, here)
	var out Season
	spring := springOf(in, e)
	buds := season.SugarMaple(site.Place.LatitudeDeg)
	if opening, ok := buds.Ahead(here, &spring, site.Place.ElevationM); ok {
		end = season.EndBy(opening, site.Place.LatitudeDeg, site.Place.ElevationM, here)
		date := func(p float64) string {
			return time.Date(here.Year(), 1, int(math.Round(opening.Quantile(p))), 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		}
		out.Buds = &BudDates{Species: buds.Species, SeasonEnd: SeasonEnd{date(0.1), date(0.5), date(0.9)}}
	}
	if sum := spring.DegreeDays(here); !math.IsNaN(sum) && here.Month() >= time.March {
		out.DegreeDays = &DegreeDays{
			AboveC: season.SumBaseC, From: time.Date(here.Year(), 3, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly),
			SoFar: round(sum, 0), BudsOpenAt: season.BudSum,
		}
	}
	out.Stage = season.StageAt(here, end)
	for _, g := range site.Groups {
		out.Tapped = out.Tapped || !g.Tapped.IsZero() && g.Tapped.Before(in.Now) && in.Now.Sub(g.Tapped) < 200*24*time.Hour
	}
	out.End = SeasonEnd{end.P10.Format(time.DateOnly), end.P50.Format(time.DateOnly), end.P90.Format(time.DateOnly)}
	return out
}

// springOf gathers the days that are known, from the weather just got and from
// what was kept of this winter and of earlier years.
func springOf(in *Inputs, e *weather.Ensemble) season.Spring {
	zone := in.Site.Zone
	s := season.Spring{Known: e.Past.Days(zone)}
	if in.Taught.Years.Days() > 0 {
		s.Years = &in.Taught.Years
		s.Known = in.Taught.Years.Overlay(&s.Known)
	}
	few := min(season.Courses, len(e.Futures))
	for k := range few {
		s.Ahead = append(s.Ahead, e.Futures[k*len(e.Futures)/few].Days(zone))
	}
	return s
}
