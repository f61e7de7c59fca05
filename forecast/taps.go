package forecast

import (
	"slices"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// datedTaps fills in when the taps of each group were put in and pulled: by settings,
// else by the first visit of the season, and by the records of taps, of which the later
// one counts.
func datedTaps(in *Inputs) {
	in.Site.Groups = slices.Clone(in.Site.Groups)
	said, putIn := make([]bool, len(in.Site.Groups)), make([]bool, len(in.Site.Groups))
	for g, visits := range in.visitsByGroup() {
		group := &in.Site.Groups[g]
		events := in.tapEventsOf(group.ID)
		tapped, pulled := records.Standing(events, in.Now)
		if !tapped.IsZero() && group.Tapped.Before(season.WinterStart(in.Now, in.Site.Zone)) || !pulled.IsZero() &&
			group.Tapped.After(in.Now) || group.Tapped.Before(in.Now.Add(-oneSeason)) &&
			group.Tapped.Before(season.WinterStart(in.Now, in.Site.Zone)) {
			group.Tapped = time.Time{} // the settings speak of another season
		}
		putIn[g] = !group.Tapped.IsZero() || slices.ContainsFunc(events, func(e records.TapEvent) bool { return e.Kind == records.Tapped })
		if said[g] = putIn[g] || len(events) > 0; group.Tapped.IsZero() {
			group.Tapped = tappedByVisits(visits, events, in.Now)
		}
		group.follow(events, visits)
	}
	in.leaveOut(said, putIn)
}

// leaveOut takes those groups for not tapped of which nobody has said a word, where somebody
// has said of others that they were put in. A visit alone tells of no other group: who only
// writes down rounds may have tapped all. Nor does a word that taps are pulled.
func (in *Inputs) leaveOut(said, putIn []bool) {
	named := false
	for g := range in.Site.Groups {
		named = named || putIn[g] && (!in.Site.Groups[g].Pulled.IsZero() || in.tapped(&in.Site.Groups[g]))
	}
	for g := range in.Site.Groups {
		if group := &in.Site.Groups[g]; in.AsksTaps && named && !said[g] && group.Tapped.IsZero() {
			group.Untapped, group.Tapped = true, in.Now.Add(never)
		}
	}
}

// never is how far ahead the day lies on which taps are put in of which nobody has said so.
const never = 2 * 365 * 24 * time.Hour

// oneSeason is how long ago taps of this season were put in at the most.
const oneSeason = 200 * 24 * time.Hour

// anyTapped reports whether somebody has said that taps of a site were put in this season: by
// settings, by a record of them, or by a visit.
func (in *Inputs) anyTapped() bool {
	return slices.ContainsFunc(in.Site.Groups, func(g Group) bool { return !g.Pulled.IsZero() || in.tapped(&g) })
}

// untapped is the work while nobody has said that taps are in: nobody goes, and nothing hangs
// or runs over. What the days would give taps that are in is told all the same.
func (w *Work) untapped(groups []Group) Work {
	out := Work{Untapped: true, Groups: []GroupWork{}, Rounds: []CrewRound{}, ShortOf: []ShortOf{}, Dangers: w.Dangers, Until: w.Until}
	for i := range groups {
		one := GroupWork{Group: groups[i].ID, Decision: NoWork, Who: []string{}}
		if full := groups[i].CapacityL(); full > 0 {
			one.CapacityL = &full
		}
		out.Groups = append(out.Groups, one)
	}
	return out
}

// tapEventsOf is what this season's records say of one group's taps up to now, oldest
// first. A record that names no group speaks of the only one.
func (in *Inputs) tapEventsOf(group string) []records.TapEvent {
	from := season.WinterStart(in.Now, in.Site.Zone)
	var own []records.TapEvent
	for _, e := range in.TapEvents {
		if (e.Site == "" || e.Site == in.Site.ID) && (e.Group == group || e.Group == "" && len(in.Site.Groups) == 1) &&
			!e.On.Before(from) && !e.On.After(in.Now) {
			own = append(own, e)
		}
	}
	records.SortTaps(own)
	return own
}

// tappedByVisits is when the taps of visits were put in at the latest, where only the
// notebook tells: the day of a first entry without sap, else the day before it; zero where
// neither it does, nor needs to because a record of the taps comes before.
func tappedByVisits(visits []records.Visit, events []records.TapEvent, now time.Time) time.Time {
	thisSeason := now.AddDate(0, 0, -200)
	for _, v := range visits {
		if v.CollectedAt.Before(thisSeason) {
			continue
		}
		if tapped, pulled := records.Standing(events, v.CollectedAt); !tapped.IsZero() || !pulled.IsZero() {
			return time.Time{}
		}
		if v.Collected() {
			return v.CollectedAt.AddDate(0, 0, -1)
		}
		return v.CollectedAt
	}
	return time.Time{}
}

// follow goes through what records say of a group's taps, with the day that is known
// otherwise among them. Tapped twice without a pull in between is the same taps with
// another date, unless sap was collected in between: then their holes were made anew.
func (g *Group) follow(events []records.TapEvent, visits []records.Visit) {
	if t := g.Tapped; len(events) > 0 && !t.IsZero() {
		events = append([]records.TapEvent{{Kind: records.Tapped, On: t}}, events...)
		records.SortTaps(events)
		g.Tapped = time.Time{}
	}
	for i := range events {
		e := &events[i]
		if e.Kind == records.Pulled {
			if g.Pulled.IsZero() {
				g.Pulled = e.On
			}
			continue
		}
		gave := func(v records.Visit) bool {
			return v.VolumeL > 0 && v.CollectedAt.After(g.Tapped) && !v.CollectedAt.After(e.On)
		}
		switch {
		case !g.Pulled.IsZero():
			g.Before = append(g.Before, Span{g.Tapped, g.Pulled})
		case !g.Tapped.IsZero() && slices.ContainsFunc(visits, gave):
			g.Before = append(g.Before, Span{g.Tapped, e.On})
		}
		g.Tapped, g.Pulled = e.On, time.Time{}
	}
}

// spells are the stretches in which a group's taps are in, in order; a zero end is open.
func (g *Group) spells() []Span { return append(slices.Clone(g.Before), Span{g.Tapped, g.Pulled}) }

// out are the stretches in which a group's taps are out after they were in.
func (g *Group) out() []notebook.Stretch {
	var out []notebook.Stretch
	spells := g.spells()
	for i, s := range spells {
		switch last := i == len(spells)-1; {
		case s.To.IsZero():
		case last:
			out = append(out, notebook.Stretch{From: s.To})
		case s.To.Before(spells[i+1].From):
			out = append(out, notebook.Stretch{From: s.To, To: spells[i+1].From})
		}
	}
	return out
}

// pulledAt reports whether a group's taps are out at a moment after they were in.
func (g *Group) pulledAt(at time.Time) bool {
	return slices.ContainsFunc(g.out(), func(s notebook.Stretch) bool { return s.Holds(at) })
}

// In reports whether the taps of a group are in, or may be: nobody has said that they were
// pulled, nor of others alone that they were put in.
func (g *Group) In() bool { return g.Pulled.IsZero() && !g.Untapped }

// allPulled reports whether no group of a site has its taps in any more.
func (s *Site) allPulled() bool {
	return !slices.ContainsFunc(s.Groups, func(g Group) bool { return g.In() })
}

// withoutPulled are inputs, flow and yields of the groups whose taps are in (see In): what is said
// of the coming days is made from them, and knows nothing of the others. What the others'
// visits taught is in the draws; the posterior, which counts all groups, is left out.
func withoutPulled(in *Inputs, flow []groupFlow, y *yields) (Inputs, []groupFlow, *yields) {
	isIn := func(g int) bool { return in.Site.Groups[g].In() }
	out := *in
	out.Site.Groups = those(in.Site.Groups, isIn)
	if len(in.Site.Groups) > 1 { // a record that names no group speaks of the only one, and not of the last one left
		out.Visits = those(in.Visits, func(i int) bool { return in.Visits[i].Group != "" })
	}
	return out, those(flow, isIn), &yields{now: those(y.now, isIn), hangs: those(y.hangs, isIn), unseen: those(y.unseen, isIn),
		draws: those(y.draws, isIn), learnt: those(y.learnt, isIn), mean: those(y.mean, isIn)}
}

// withPulled gives the work of the groups whose taps are in the others of a site, in the
// site's order: of those only that they are pulled, or not in yet.
func withPulled(site *Site, work []GroupWork) []GroupWork {
	all := []GroupWork{}
	for i := range site.Groups {
		if g := &site.Groups[i]; g.In() {
			all, work = append(all, work[0]), work[1:]
		} else {
			all = append(all, GroupWork{Group: g.ID, Pulled: !g.Untapped, Untapped: g.Untapped, Decision: NoWork, Who: []string{}})
		}
	}
	return all
}

// In is how many groups have their taps in.
func (w *Work) In() int {
	n := 0
	for i := range w.Groups {
		if g := &w.Groups[i]; !g.Pulled && !g.Untapped {
			n++
		}
	}
	return n
}

// those are the elements of a list whose index passes.
func those[T any](list []T, passes func(i int) bool) []T {
	out := []T{}
	for i := range list {
		if passes(i) {
			out = append(out, list[i])
		}
	}
	return out
}

// PulledGroups says which groups of a site have their taps pulled at a moment, by its
// settings and records, and since when.
func PulledGroups(site *Site, events []records.TapEvent, now time.Time) map[string]time.Time {
	in := Inputs{Site: *site, TapEvents: events, Now: now}
	datedTaps(&in)
	pulled := map[string]time.Time{}
	for i := range in.Site.Groups {
		if g := &in.Site.Groups[i]; !g.Pulled.IsZero() {
			pulled[g.ID] = g.Pulled
		}
	}
	return pulled
}

// TapsIn is how many taps are in: those of groups that are pulled, or not in yet, do not count.
func (b *Bush) TapsIn() int {
	n := b.Taps
	for _, g := range b.Groups {
		if g.Pulled || g.Untapped {
			n -= g.Taps
		}
	}
	return n
}

// IsPulled reports whether the taps of a group are pulled.
func (b *Bush) IsPulled(id string) bool {
	return slices.ContainsFunc(b.Groups, func(g GroupName) bool { return g.ID == id && g.Pulled })
}

// IsIn reports whether the taps of a group are in: neither pulled, nor not in yet.
func (b *Bush) IsIn(id string) bool {
	return slices.ContainsFunc(b.Groups, func(g GroupName) bool { return g.ID == id && !g.Pulled && !g.Untapped })
}

// NotIn lists the groups of which nobody has said that their taps are in, where somebody has
// said so of others.
func (b *Bush) NotIn() (groups []string) {
	for i := range b.Groups {
		if b.Groups[i].Untapped {
			groups = append(groups, b.Groups[i].ID)
		}
	}
	return groups
}

// UntappedGroups are those of a site of which nobody has said that their taps are in, by its
// settings and records: all of them where nobody has said so of any.
func UntappedGroups(site *Site, visits []records.Visit, events []records.TapEvent, now time.Time) (groups []string) {
	in := Inputs{Site: *site, Visits: visits, TapEvents: events, Now: now, AsksTaps: true}
	datedTaps(&in)
	for i := range in.Site.Groups {
		if g := &in.Site.Groups[i]; g.Untapped || !in.anyTapped() {
			groups = append(groups, g.ID)
		}
	}
	return groups
}
