package verify

import (
	"fmt"
	"slices"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// checkVisits refuses records that the weather can't speak to and dates that
// must be slips.
func checkVisits(visits []records.Visit, flow *seasonFlow, now time.Time) error {
	last := map[string]records.Visit{}
	for _, v := range visits {
		if !now.IsZero() && v.CollectedAt.After(now.Add(24*time.Hour)) {
			return fmt.Errorf("line %d: the visit of %s lies in the future; check its year", v.Line, v.CollectedAt.Format(time.DateOnly))
		}
		if v.CollectedAt.Before(flow.weather.Start()) || v.CollectedAt.After(flow.weather.End()) {
			return fmt.Errorf("line %d: the visit of %s lies outside the weather, %s to %s; give weather that covers it, or leave the row out",
				v.Line, v.CollectedAt.Format(time.DateOnly), flow.weather.Start().Format(time.DateOnly), flow.weather.End().Format(time.DateOnly))
		}
		before, seen := last[v.Group]
		switch {
		case seen && v.CollectedAt.Before(before.CollectedAt):
			return fmt.Errorf("line %d: the visit of %s comes after line %d, of %s; sort the file by date", v.Line, v.CollectedAt.Format(time.DateOnly), before.Line, before.CollectedAt.Format(time.DateOnly))
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
	visit                 volume.Visit
	date, group, why      string // why it can't be scored, "" if it can
	ruleDays, degreeHours float64
}

// collections walks through the records group by group, filling and emptying
// the pails; in order of time.
func (f *seasonFlow) collections(visits []records.Visit, groups []string, o *SapOptions) []collection {
	var all []collection
	var at []time.Time
	for g, name := range groups {
		var pail rounds.Pail
		from := -1
		var season time.Time
		days := dayCounter{}
		for _, v := range visits {
			if v.Group != name {
				continue
			}
			to := f.weather.Index(v.CollectedAt)
			if from < 0 || v.CollectedAt.Sub(season) > 200*24*time.Hour {
				// The first visit of a season: bored that day if nothing was
				// collected, else the day before.
				season, pail, days = v.CollectedAt, rounds.Pail{}, dayCounter{}
				if from = to; v.Collected() {
					from = max(to-24, 0)
				}
				f.bore(from)
			}
			gap := f.fill(&pail, &days, from, to)
			from = to
			remarks := v.Remarks()
			taps := v.Taps
			if taps == 0 {
				taps = o.Taps
			}
			c := collection{date: v.CollectedAt.In(o.Zone).Format(time.DateOnly), group: name, ruleDays: days.rule, degreeHours: days.heat}
			switch {
			case remarks.Emptied:
				pail, days = rounds.Pail{}, dayCounter{}
				c.why = "the pails were emptied without a figure"
			case remarks.NotChecked || !v.Collected():
				c.why = "not collected: left to the next visit"
			case taps == 0:
				c.why = fmt.Sprintf("line %d says no number of taps; add a column taps or give --taps", v.Line)
			case gap > weather.MaxFillHours:
				c.why = fmt.Sprintf("%d hours of the weather before it are missing", gap)
				pail, days = rounds.Pail{}, dayCounter{}
			default:
				c.visit = volume.Visit{
					Group: g, Months: v.CollectedAt.Sub(season).Hours() / 720, Taps: taps,
					Days: days.effective(), ObservedL: v.VolumeL,
					AtLeast: remarks.Full || o.ContainerL > 0 && v.VolumeL >= 0.95*o.ContainerL*float64(taps),
				}
				c.visit.ExpectedL = pail.Empty() * float64(taps)
				days = dayCounter{}
			}
			all, at = append(all, c), append(at, v.CollectedAt)
		}
	}
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return at[a].Compare(at[b]) })
	sorted := make([]collection, len(all))
	for i, k := range order {
		sorted[i] = all[k]
	}
	return sorted
}
