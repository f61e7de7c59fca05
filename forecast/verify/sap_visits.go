package verify

import (
	"fmt"
	"slices"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// checkVisits refuses records that the weather can't speak to and dates that
// must be slips.
func checkVisits(visits []records.Visit, w *weather.Series, now time.Time) error {
	last := map[string]records.Visit{}
	for _, v := range visits {
		if !now.IsZero() && v.CollectedAt.After(now.Add(24*time.Hour)) {
			return fmt.Errorf("line %d: the visit of %s lies in the future; check its year", v.Line, v.CollectedAt.Format(time.DateOnly))
		}
		if v.CollectedAt.Before(w.Start()) || v.CollectedAt.After(w.End()) {
			return fmt.Errorf("line %d: the visit of %s lies outside the weather, %s to %s; give weather that covers it, or leave the row out",
				v.Line, v.CollectedAt.Format(time.DateOnly), w.Start().Format(time.DateOnly), w.End().Format(time.DateOnly))
		}
		before, seen := last[v.Group]
		switch {
		case seen && v.CollectedAt.Before(before.CollectedAt):
			return fmt.Errorf("line %d: the visit of %s comes after line %d, of %s; sort the file by date", v.Line,
				v.CollectedAt.Format(time.DateOnly), before.Line, before.CollectedAt.Format(time.DateOnly))
		case seen && v.CollectedAt.Equal(before.CollectedAt):
			return fmt.Errorf("line %d: a second visit of the same group at the moment of line %d; add the volumes up, or name the groups or the hours (collected_at)", v.Line, before.Line)
		}
		last[v.Group] = v
	}
	return nil
}

func groupsOf(visits []records.Visit) []string {
	var names []string
	for _, v := range visits {
		if !slices.Contains(names, v.Group) {
			names = append(names, v.Group)
		}
	}
	return names
}

// collection is one visit with what the weather says it should have brought.
type collection struct {
	notebook.Entry
	date, group           string
	ruleDays, degreeHours float64
}

// collections holds the records against the weather, group by group; in order
// of time.
func (f *seasonFlow) collections(visits []records.Visit, groups []string, o *SapOptions) []collection {
	var all []collection
	for g, name := range groups {
		var own []records.Visit
		for _, v := range visits {
			if v.Group == name {
				own = append(own, v)
			}
		}
		taps := notebook.Taps{Group: g, Count: o.Taps, ContainerL: o.ContainerL, Bored: f.bore}
		weather := &f.weather
		if o.Without.PailIce {
			weather = &f.iceless
		}
		entries, _ := notebook.Read(weather, f.gap, o.Zone, records.JoinLoads(own, o.Taps), taps)
		for _, e := range entries {
			c := collection{Entry: e, date: e.At.In(o.Zone).Format(time.DateOnly), group: name}
			c.ruleDays, c.degreeHours = f.simpleRules(e.Since, e.To)
			all = append(all, c)
		}
	}
	slices.SortStableFunc(all, func(a, b collection) int { return a.At.Compare(b.At) })
	return all
}
