package forecast

import (
	"slices"
	"time"

	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

const (
	planHours     = 120
	everyDraw     = 4    // of the draws are enough for a plan
	minutesPerTap = 1.0  // walking, tipping and carrying, for one person (common practice)
	tankMinutes   = 15   // to pump out a tank (common practice)
	tripMinutes   = 20.0 // to the bush, to the sugarhouse and back (common practice)
	tripWorthL    = 25.0 // as much sap as makes a good pint of syrup
	lowSunDeg     = -2.0 // light enough to see ice and holes
	mostSlots     = 48
	spoiltAt      = 1.0
	usualFrom     = 8 * time.Hour
	usualTo       = 18 * time.Hour
)

// planRounds chooses when to go round in the coming days.
func planRounds(in *Inputs, e *weather.Ensemble, flow []groupFlow, c *calendar, y *yields) Plan {
	if len(in.Site.Groups) == 0 {
		return Plan{Rounds: []PlannedRound{}}
	}
	loads := loadsOf(in, e, flow, c, y, planHours, everyDraw)
	air := make([][]float64, len(e.Futures))
	for m := range e.Futures {
		air[m] = e.Futures[m].Col(weather.TemperatureC)
	}
	worth := in.Site.Gathering.TripWorthL
	if worth == 0 {
		worth = tripWorthL
	}
	plan := rounds.MakePlan(loads, slotsOf(in, e), air, rounds.Team{TankL: in.Site.Gathering.TankL, TripWorthL: worth, MaxAge: spoiltAt})
	out := Plan{Rounds: []PlannedRound{}, LossL: round(plan.LossL, 1), LossWithoutL: round(plan.IfNobodyGoes, 1), Trips: plan.Trips}
	for _, r := range plan.Rounds {
		p := PlannedRound{At: e.Futures[0].Time(r.Slot.Hour).In(in.Site.Zone), Who: r.Slot.Who, Trips: r.Trips, Pinned: r.Slot.Pinned, Groups: []RoundGroup{}}
		for k, g := range r.Groups {
			p.Groups = append(p.Groups, RoundGroup{Group: in.Site.Groups[g].ID, VolumeL: round(r.SapL[k], 1)})
			p.Minutes += in.Site.minutes(&in.Site.Groups[g], len(r.Slot.Who))
			p.SapL += round(r.SapL[k], 1)
		}
		p.Minutes += int(tripMinutes) * r.Trips
		out.Rounds = append(out.Rounds, p)
	}
	return out
}

// minutes is how long a group takes so many people: tap by tap, or one tank.
func (s *Site) minutes(g *Group, people int) int {
	if g.TankL > 0 {
		return tankMinutes
	}
	each := s.Gathering.MinutesPerTap
	if each == 0 {
		each = minutesPerTap
	}
	return int(each*float64(g.Taps)/float64(max(people, 1)) + 0.5)
}

// slotsOf are the full hours at which somebody is free, it is light, and there
// is time to go round all groups before it ends.
func slotsOf(in *Inputs, e *weather.Ensemble) []rounds.Slot {
	site := &in.Site
	var slots []rounds.Slot
	w := &e.Futures[0]
	for h := range min(planHours, w.Hours()) {
		at := w.Time(h).In(site.Zone)
		if at.Before(in.Now) || !at.Equal(at.Truncate(time.Hour)) {
			continue
		}
		pinned := slices.ContainsFunc(site.Gathering.Pinned, func(t time.Time) bool { return t.Truncate(time.Hour).Equal(at) })
		who, long := site.Gathering.freeAt(at)
		need := tripMinutes * time.Minute
		for g := range site.Groups {
			need += time.Duration(site.minutes(&site.Groups[g], len(who))) * time.Minute
		}
		light := weather.SunAt(at, site.Place.LatitudeDeg, site.Place.LongitudeDeg).ElevationDeg > lowSunDeg &&
			weather.SunAt(at.Add(min(need, long)), site.Place.LatitudeDeg, site.Place.LongitudeDeg).ElevationDeg > lowSunDeg
		if !pinned && (long < min(need, 3*time.Hour) || !light || site.Gathering.forbidden(at)) {
			continue
		}
		slots = append(slots, rounds.Slot{Hour: h, Who: who, Pinned: pinned})
	}
	if len(slots) > mostSlots { // every other hour
		slots = slices.DeleteFunc(slots, func(s rounds.Slot) bool { return !s.Pinned && w.Time(s.Hour).In(site.Zone).Hour()%2 == 1 })
	}
	return slots
}

// freeAt is who can start at a moment, and for how long the last of them can
// stay.
func (g *Gathering) freeAt(at time.Time) (who []string, long time.Duration) {
	clock := time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
	if len(g.Free) == 0 {
		if clock < usualFrom {
			return nil, 0
		}
		return nil, usualTo - clock
	}
	for _, f := range g.Free {
		if f.Weekday == at.Weekday() && clock >= f.From && clock < f.To {
			who = append(who, f.Who)
			long = max(long, f.To-clock)
		}
	}
	return who, long
}

func (g *Gathering) forbidden(at time.Time) bool {
	return slices.ContainsFunc(g.Forbidden, func(s Span) bool { return !at.Before(s.From) && at.Before(s.To) })
}
