package verify

import (
	"math"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/volume"
)

// longestDay is how long after the visit before a visit still tells of one day.
const longestDay = 30 * time.Hour

// wouldRun is the local hour from which taps drip on a day on which sap runs at all.
const wouldRun = 14

// SeenDays are the local days of which somebody saw whether sap ran, as an answer, in a
// note that it drips, or in the afternoon that it does not, or in what a round of the day
// before found; in that order where they differ. Dry taps at noon say nothing of a day: on
// cold ones sap begins to run after it (common practice). Nothing of it is worked out from the weather. taps gives a group's taps,
// 0 for one that is not known; answers are by local date, 2026-03-21.
func SeenDays(visits []forecast.PastVisit, taps func(group string) int, observed []records.Observation, answers map[string]bool,
	zone *time.Location) map[string]bool {
	seen := map[string]bool{}
	last := map[string]time.Time{}
	for _, v := range visits {
		if math.IsNaN(v.VolumeL) || v.Pulled {
			continue
		}
		before := last[v.Group]
		last[v.Group] = v.At
		since := v.At.Sub(before)
		if n := taps(v.Group); n > 0 && v.Why == "" && since > 0 && since <= longestDay {
			day := before.Add(since / 2).In(zone).Format(time.DateOnly)
			seen[day] = seen[day] || v.VolumeL >= volume.RunDayL*float64(n)
		}
	}
	drips := map[string]bool{}
	for i := range observed {
		if o := &observed[i]; o.Kind == records.Dripping || o.Kind == records.NotDripping && o.At.In(zone).Hour() >= wouldRun {
			drips[o.Day] = drips[o.Day] || o.Kind == records.Dripping
		}
	}
	for _, by := range []map[string]bool{drips, answers} {
		for day, ran := range by {
			seen[day] = ran
		}
	}
	return seen
}
