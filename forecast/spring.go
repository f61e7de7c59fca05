package forecast

import (
	"math"
	"time"

	"thawline/forecast/boil"
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
	if site.allPulled() {
		out.Stage, out.Closed = season.Closed, closedOf(in)
	}
	for _, g := range site.Groups {
		out.Tapped = out.Tapped || !g.Pulled.IsZero() || !g.Tapped.IsZero() && g.Tapped.Before(in.Now) && in.Now.Sub(g.Tapped) < 200*24*time.Hour
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

// closedOf adds up what the records of this season say, once all taps are pulled.
func closedOf(in *Inputs) *Closed {
	from, syrup := season.WinterStart(in.Now, in.Site.Zone), in.Site.Boiling.SyrupBrix
	if syrup == 0 {
		syrup = boil.SyrupBrix
	}
	var c Closed
	var last time.Time
	measured, comesTo := 0.0, 0.0
	for g := range in.Site.Groups {
		if t := in.Site.Groups[g].Pulled; t.After(last) {
			last = t
		}
		for _, v := range in.visitsOf(in.Site.Groups[g].ID) {
			if !v.Collected() || v.CollectedAt.Before(from) {
				continue
			}
			c.Visits++
			c.SapL += v.VolumeL
			if v.BrixPct > 0 {
				measured += v.VolumeL
				comesTo += v.VolumeL / boil.SapPerSyrup(v.BrixPct, syrup)
			}
		}
	}
	if measured > 0 && measured >= c.SapL/2 {
		all := round(comesTo*c.SapL/measured, 1)
		c.SyrupL = &all
	}
	c.On, c.SapL = last.In(in.Site.Zone).Format(time.DateOnly), round(c.SapL, 1)
	return &c
}
