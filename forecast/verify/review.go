package verify

import (
	"time"

	"thawline/forecast"
	"thawline/forecast/notebook"
)

// Told are the rounds of a season beside what the evenings before had said of them, as
// Evenings adds it up. Rounds whose figure was taken from what was expected are left out:
// the forecast is not judged by itself.
func Told(evenings []forecast.Evening, visits []forecast.PastVisit, site *forecast.Site) []SapVisit {
	share := func(group string) float64 {
		for i := range site.Groups {
			if g := &site.Groups[i]; g.ID == group {
				return float64(g.Taps) / float64(site.Taps())
			}
		}
		return 0
	}
	return Measured(Evenings(evenings, nil, visits, share, site.Zone).Visits, visits, site.Zone)
}

// Measured leaves out the rounds whose figure was taken from what was expected.
func Measured(visits []SapVisit, past []forecast.PastVisit, zone *time.Location) []SapVisit {
	confirmed := map[string]bool{}
	for i := range past {
		if past[i].Why == notebook.Confirmed {
			confirmed[past[i].Group+" "+past[i].At.In(zone).Format(time.DateOnly)] = true
		}
	}
	var out []SapVisit
	for _, one := range visits {
		if !confirmed[one.Group+" "+one.Date] {
			out = append(out, one)
		}
	}
	return out
}

// Missed are the rounds that carried in something outside of what was told: four in five
// should not.
func Missed(visits []SapVisit) []forecast.Told {
	var out []forecast.Told
	for _, one := range visits {
		if one.ObservedL < one.P10 || one.ObservedL > one.P90 {
			out = append(out, forecast.Told{Date: one.Date, Group: one.Group,
				SapL: forecast.Range{P10: one.P10, P50: one.P50, P90: one.P90}, CameL: one.ObservedL})
		}
	}
	return out
}
