package forecast

import (
	"math"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// seasonOf tells where in the season the site stands, until when sap is likely good and
// when the last run may come: by the warmth so far and to come, by what earlier seasons
// taught, and by the last time that somebody carried sap in.
func seasonOf(in *Inputs, e *weather.Ensemble, days []Day) (Season, *turning) {
	site := &in.Site
	here := in.Now.In(site.Zone)
	var out Season
	spring := springOf(in, e)
	turns := &turning{in: in, here: here, sugar: sugarOfGroups(in), known: &spring.Known,
		courses: spring.Courses(here, site.Place.LatitudeDeg, site.Place.ElevationM)}
	turns.laterDays = out.goBySigns(in, here, turns.courses)
	turns.buds = budsOf(in, here, &spring)
	last := season.LastRuns(here, turns.courses)
	of := latest(site)
	good, off := turns.usual(of)
	out.Buds = turns.leaves(of)
	out.Taste = tasteOf(in, here, &good)
	if sum := spring.DegreeDays(here); !math.IsNaN(sum) && here.Month() >= time.March {
		out.DegreeDays = &DegreeDays{
			AboveC: season.SumBaseC, From: time.Date(here.Year(), 3, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly),
			SoFar: round(sum, 0), BudsOpenAt: season.BudSum,
		}
	}
	out.Stage = season.StageOf(here, &good, &last, off.IsZero() && runLikely(days))
	out.Tapped = in.anyTapped()
	expected := runDays(days)
	out.RunDays = int(math.Round(expected))
	out.WorthTapping = !out.Tapped && expected >= worthRuns && (out.Stage == season.Before || out.Stage == season.Opened) &&
		season.MayTap(here, &good) && here.Month() <= time.April
	if site.allPulled() {
		out.Stage, out.Closed = season.Closed, closedOf(in)
	}
	if out.Stage != season.Over { // then no date lies in the past
		good = good.After(here.AddDate(0, 0, -1))
	}
	last = last.After(here.AddDate(0, 0, -1))
	out.End, out.LastRun = datesOf(good.End()), datesOf(last.End())
	return out, turns
}

func datesOf(end season.End) SeasonEnd {
	return SeasonEnd{end.P10.Format(time.DateOnly), end.P50.Format(time.DateOnly), end.P90.Format(time.DateOnly)}
}

// It is worth tapping from so many run days on that are expected in the next ten: more in
// cold springs would open holes only after the first run, fewer weeks before it (hill 2013
// to 2015, TestWorthTappingBeforeTheFirstRun). While a run is likely in the next five days
// nobody is told that the season is over.
const (
	worthRuns = 1.2
	worthDays = 10
	overDays  = 5
)

// runDays is how many of the next days are expected to run.
func runDays(days []Day) (expected float64) {
	for i := range days[:min(worthDays, len(days))] {
		expected += days[i].RunProbability
	}
	return expected
}

func runLikely(days []Day) bool {
	for i := range days[:min(overDays, len(days))] {
		if v := VerdictOf(days[i].RunProbability); v == WillRun || v == Likely {
			return true
		}
	}
	return false
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
	for g, visits := range in.visitsByGroup() {
		if t := in.Site.Groups[g].Pulled; t.After(last) {
			last = t
		}
		for _, v := range visits {
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
