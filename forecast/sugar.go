package forecast

import (
	"math"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/maple"
)

// brixOf is the sugar of the bush's sap: the mean of what was measured in the last ten
// days, else what is usual for the time of the season and its maples.
func brixOf(in *Inputs) (brix float64, measured bool) {
	sum, n := 0.0, 0.0
	for _, visits := range in.visitsByGroup() {
		for _, v := range visits {
			if in.measuredLately(v.BrixPct, v.CollectedAt) {
				sum, n = sum+v.BrixPct, n+1
			}
		}
	}
	if n > 0 {
		return sum / n, true
	}
	share, taps := 0.0, 0.0
	for g := range in.Site.Groups {
		of := &in.Site.Groups[g]
		share, taps = share+float64(of.Taps)*maple.Of(of.Species).Sugar, taps+float64(of.Taps)
	}
	return boil.BrixBySeason(in.daysTapped()) * (share / taps), false
}

// groupSugar is the sugar of each group's sap: what was measured lately in any, as its
// maples have it, else what is usual for them.
type groupSugar struct {
	in       *Inputs
	measured float64 // for a usual maple's, NaN where nothing was
}

func sugarOfGroups(in *Inputs) groupSugar {
	sum, n := 0.0, 0.0
	for g, visits := range in.visitsByGroup() {
		of := maple.Of(in.Site.Groups[g].Species).Sugar
		for _, v := range visits {
			if in.measuredLately(v.BrixPct, v.CollectedAt) {
				sum, n = sum+v.BrixPct/of, n+1
			}
		}
	}
	return groupSugar{in, sum / n}
}

// brix is that of one group, °Brix.
func (s groupSugar) brix(group int) (brix float64, measured bool) {
	own := maple.Of(s.in.Site.Groups[group].Species).Sugar
	if !math.IsNaN(s.measured) {
		return s.measured * own, true
	}
	return boil.BrixBySeason(s.in.daysTapped()) * own, false
}

func (in *Inputs) measuredLately(brix float64, at time.Time) bool {
	return !math.IsNaN(brix) && in.Now.Sub(at) < 10*24*time.Hour
}

// daysTapped is how long the first taps have been in; the middle of a month of sap where
// nobody has said.
func (in *Inputs) daysTapped() float64 {
	var tapped time.Time
	for g := range in.Site.Groups {
		if t := in.Site.Groups[g].Tapped; !t.IsZero() && (tapped.IsZero() || t.Before(tapped)) {
			tapped = t
		}
	}
	if tapped.IsZero() {
		return 15
	}
	return in.Now.Sub(tapped).Hours() / 24
}
