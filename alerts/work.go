package alerts

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/forecast"
)

// NamedRound is a round that an evening text named.
type NamedRound struct {
	Group string    `json:"group"` // id
	At    time.Time `json:"at"`
}

// namedBy lists the rounds that the evening text of an outlook names.
func namedBy(o *forecast.Outlook) []NamedRound {
	var due []NamedRound
	for _, g := range o.Work.Due() {
		due = append(due, NamedRound{g.Group, *g.GoAt})
	}
	return due
}

// roundOff tells those whom a message sent out that somebody has emptied all of it
// meanwhile, or has written down since that it was emptied before: while none of those rounds
// has begun, and not by night.
func (r *rules) roundOff() {
	known, at := r.knownRounds()
	sent := slices.DeleteFunc(slices.Clone(known), func(n NamedRound) bool { return n.At.Before(at) })
	if len(sent) == 0 || r.at.Now.In(r.zone).Hour() < wakes {
		return
	}
	first := sent[0].At
	for _, d := range sent {
		g := r.o.Work.Group(d.Group)
		still := g.Decision == forecast.Gather && g.GoAt.Before(r.o.Work.Until)
		if !d.At.After(r.at.Now) || still || g.SinceVisit == nil || g.HeldL.P50+g.IceL >= leastToBoilL {
			return
		}
		if d.At.Before(first) {
			first = d.At
		}
	}
	date := first.In(r.zone).Format(time.DateOnly)
	r.tell(Decision{Kind: RoundOff, Key: date, Until: first, Facts: Facts{Date: date},
		Why: []string{"people were sent to groups that are emptied: the first at " + first.In(r.zone).Format("15:04")}})
}

// missedAfter is how long after the start of a named round nobody can be said to have
// forgotten it.
const missedAfter = 2 * time.Hour

// named reports whether a message has sent somebody to a group, or the evening text does so
// now, and there is still time to go: such a group needs no message of its own.
func (r *rules) named(group string) bool {
	due := namedBy(r.o)
	if !r.at.Evening {
		due, _ = r.knownRounds()
	}
	for _, d := range due {
		if d.Group == group && r.at.Now.Before(d.At.Add(missedAfter)) {
			return true
		}
	}
	return false
}

// foreseen reports whether people know what to do about a group: the evening text names a
// round that is likely in time.
func (r *rules) foreseen(g *forecast.GroupWork) bool {
	return r.named(g.Group) && g.OverflowProbability < r.t.OverflowProbability
}

// late is what an overflow alert says where nobody can be there before: by when to go all
// the same.
const late = "late"

// goBy is when to go to a group at the latest, by the plan: where its round comes after it
// has likely run over, when that starts. Where nobody goes it is when it runs over, by day:
// nobody is sent in the dark.
func (r *rules) goBy(g *forecast.GroupWork) (at time.Time, what string) {
	switch over := *g.AloneOverAt; {
	case g.GoAt == nil:
		if at = r.byDay(over); at.After(over) {
			return at, late
		}
		return at, ""
	case !g.GoAt.Before(over):
		return *g.GoAt, late
	case g.Latest.Before(over):
		return *g.Latest, ""
	}
	return *g.GoAt, ""
}

// byDay is a moment, or the last hour before it in which it is light in every season of sap;
// the first after it where that is past.
func (r *rules) byDay(at time.Time) time.Time {
	const light, dusk = 8, 17
	here := at.In(r.zone)
	y, m, d := here.Date()
	last := here
	switch {
	case here.Hour() < light:
		last = time.Date(y, m, d-1, dusk, 0, 0, 0, r.zone)
	case here.Hour() >= dusk:
		last = time.Date(y, m, d, dusk, 0, 0, 0, r.zone)
	}
	if last.After(r.at.Now) {
		return last
	}
	if here.Hour() < light {
		return time.Date(y, m, d, light, 0, 0, 0, r.zone)
	}
	return time.Date(y, m, d+1, light, 0, 0, 0, r.zone)
}

// RunsOver reports whether a group's containers are likely to run over soon if nobody goes, of
// sap that is still good.
func (t *Thresholds) RunsOver(g *forecast.GroupWork, now time.Time) bool {
	over := g.AloneOverAt
	return g.Decision != forecast.TipOut && !g.Spoilt(now) && g.AloneProbability >= t.OverflowProbability && over != nil &&
		over.Sub(now) <= t.OverflowWithin && !over.Before(now)
}

// overflow tells once after each visit of containers that run over, unless a round that
// people know of comes first: a group that nobody goes to is not told of again.
func (r *rules) overflow() {
	for i := range r.o.Work.Groups {
		g := &r.o.Work.Groups[i]
		over := g.AloneOverAt
		if !r.t.RunsOver(g, r.at.Now) || r.foreseen(g) {
			continue
		}
		by, what := r.goBy(g)
		by, inside := r.beforeDanger(by)
		if inside != nil { // told once it is over, if it still matters: nobody is sent into it
			continue
		}
		until := over.Add(3 * time.Hour)
		if by.After(until) {
			until = by
		}
		r.tell(Decision{Kind: Overflow, Key: g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone), Until: until,
			Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, What: what, At: by, Due: *over, VolumeL: g.AloneLossL,
				Chance: g.AloneProbability},
			Why: []string{fmt.Sprintf("chance to run over within three days %.2f, at least %.2f; most likely %s, within %s",
				g.AloneProbability, r.t.OverflowProbability, over.Format("Mon 15:04"), r.t.OverflowWithin)}})
	}
}

// since names an episode: from the last visit on, or by the week where there is
// none on record.
func since(visit *time.Time, now time.Time, zone *time.Location) string {
	if visit != nil {
		return visited(*visit)
	}
	y, w := now.In(zone).ISOWeek()
	return fmt.Sprintf("week-%d-%d", y, w)
}

// Overtaken reports whether a decision about a group is no longer so by an outlook that
// knows newer records: somebody has been there, or its taps are pulled. One about a visit of
// a class is not, once that is over or taken back, and one about sap in the sugarhouse, once
// that is boiled or tipped out.
func (d *Decision) Overtaken(o *forecast.Outlook) bool {
	if o != nil && d.Kind.OfClass() {
		return d.Facts.Class != nil && !slices.ContainsFunc(o.Classes, func(p forecast.ClassPlan) bool { return p.ID == d.Facts.Class.ID })
	}
	if o != nil && d.Kind == BoilBy && d.ofTank() {
		return d.boiled(o)
	}
	if o != nil && d.Kind == NewRound {
		return !slices.ContainsFunc(d.Facts.New, func(n NamedRound) bool { return !d.emptied(n.Group, o) })
	}
	if o == nil || d.Facts.GroupID == "" || !d.Kind.OfGroup() || d.Kind == Question {
		return false
	}
	g := o.Work.Group(d.Facts.GroupID)
	return g.Pulled || g.SinceVisit != nil && !strings.HasSuffix(d.Key, ":"+visited(*g.SinceVisit))
}

// visited names an episode by the visit that it began with.
func visited(at time.Time) string { return at.UTC().Format(time.RFC3339) }

// hardFreeze tells of containers that are too full for the frost of the next two days.
func (r *rules) hardFreeze() {
	for _, d := range r.o.Days[:min(2, len(r.o.Days))] {
		low, comes := r.lowToCome(&d)
		if !comes || low > r.t.FreezeC {
			continue
		}
		for i := range r.o.Work.Groups {
			g := &r.o.Work.Groups[i]
			held := g.HeldL.P50 + g.IceL
			if g.CapacityL == nil || held < r.t.FullShare**g.CapacityL || g.Decision == forecast.TipOut || g.Spoilt(r.at.Now) ||
				r.named(g.Group) || r.dangerous() {
				continue
			}
			r.tell(Decision{Kind: HardFreeze, Key: g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone), Until: r.endOf(d.Date),
				Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, LowC: &low, VolumeL: held, Date: d.Date},
				Why: []string{fmt.Sprintf("low of %.1f °C on %s, at most %.0f; %.0f L held of %.0f, at least %.0f %%", low, d.Date,
					r.t.FreezeC, held, *g.CapacityL, 100*r.t.FullShare)}})
		}
	}
}

// canWait reports whether the next evening is soon enough to hear of sap that keeps until a
// moment: the day after it has hours of light before the sap goes bad.
func (r *rules) canWait(keeps time.Time) bool {
	const light = 10
	evening := r.o.Work.Until.In(r.zone)
	if before := evening.AddDate(0, 0, -1); before.After(r.at.Now) { // the work looks beyond an evening that is near
		evening = before
	}
	y, m, d := evening.Date()
	return evening.After(r.at.Now) && !keeps.Before(time.Date(y, m, d+1, light, 0, 0, 0, r.zone))
}

// sleeps reports whether it is between the evening and the morning: nobody gathers or lights a
// fire then, and what will not keep is told at the next look after it.
func (r *rules) sleeps() bool {
	const bed = 20
	hour := r.at.Now.In(r.zone).Hour()
	return hour < wakes || hour >= bed
}

// daylight is how long before an evening there is hardly light to go yet.
const daylight = 12 * time.Hour

// leastToBoilL is too little sap to tell anybody that it will not keep.
const leastToBoilL = 20

// firstRound is what is said, once a season, of a group of which there is no record at all:
// nobody knows what became of its sap.
const firstRound = "first_round"

// askRound asks to write down the first round to a group.
func (r *rules) askRound(g *forecast.GroupWork) {
	if !r.at.Evening {
		return
	}
	r.tell(Decision{Kind: BoilBy, Key: firstRound + ":" + g.Group + ":" + r.today()[:4], Until: r.at.Now.AddDate(0, 0, 1),
		Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, What: firstRound},
		Why:   []string{"nobody has written down a round since the taps were put in, and what hung since would have gone bad"}})
}

// boilBy tells of sap that will not keep, unless people know of a round in time, and of
// sap that has gone bad: each once after a visit. Of a group without any record nobody knows
// what hangs, and its first round is asked for instead.
func (r *rules) boilBy() {
	for i := range r.o.Work.Groups {
		g := &r.o.Work.Groups[i]
		if g.AskRound {
			r.askRound(g)
		}
		keeps, held := g.KeepsUntil, g.HeldL.P50+g.IceL
		if keeps == nil || g.KeepsLonger || g.NoRecord || keeps.Sub(r.at.Now) > r.t.BoilWithin || held < leastToBoilL {
			continue
		}
		if g.Spoilt(r.at.Now) {
			if !r.at.Evening || r.tells(Evening) { // it can wait until there is more to say; the evening text says it by itself
				continue
			}
			r.tell(Decision{Kind: BoilBy, Key: goneBad + ":" + g.Group + ":" + since(g.SinceVisit, *keeps, r.zone),
				Until: r.at.Now.AddDate(0, 0, 1),
				Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, At: *keeps, VolumeL: held, What: goneBad,
					OfGroups: r.o.Work.In()},
				Why: []string{fmt.Sprintf("the sap that hangs has been spoilt since about %s", keeps.Format("Mon 15:04"))}})
			continue
		}
		if g.Decision == forecast.TipOut && r.o.Work.Until.Sub(r.at.Now) > daylight {
			continue // it is bad when somebody can be there, and the evening text says what to do with it
		}
		waits := !r.at.Evening && (r.canWait(*keeps) || r.sleeps())
		if r.named(g.Group) && g.GoAt != nil && g.GoAt.Before(*keeps) || waits || r.dangerous() {
			continue
		}
		r.tell(Decision{Kind: BoilBy, Key: g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone), Until: keeps.Add(6 * time.Hour),
			Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, At: *keeps, VolumeL: held, OfGroups: r.o.Work.In()},
			Why:   []string{fmt.Sprintf("the sap that hangs is spoilt about %s, within %s", keeps.Format("Mon 15:04"), r.t.BoilWithin)}})
	}
}

// goneBad is what is said of sap that hangs and is no good any more.
const goneBad = "tip_out"

// nearHours is how far from each other hours may lie for one round to serve both.
const nearHours = 6 * time.Hour

// Together parts decisions of a bush into those that say nearly the same of several groups:
// sap that hangs and keeps until near hours, or that has gone bad. Each is the
// indices of some decisions, that of the earliest hour first; one that nothing is like stands
// alone.
func Together(list []Decision) (out [][]int) {
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return list[a].Facts.At.Compare(list[b].Facts.At) })
	for _, i := range order {
		at := slices.IndexFunc(out, func(some []int) bool { return list[some[0]].nearly(&list[i]) })
		if at < 0 {
			out = append(out, []int{i})
			continue
		}
		out[at] = append(out[at], i)
	}
	return out
}

// nearly reports whether another decision says nearly the same of another group.
func (d *Decision) nearly(other *Decision) bool {
	if d.Kind != BoilBy || other.Kind != BoilBy || d.Site != other.Site || d.Facts.What != other.Facts.What ||
		d.Facts.GroupID == other.Facts.GroupID {
		return false
	}
	switch d.Facts.What {
	case goneBad: // the same is done with all of it, since whenever it is bad
		return true
	case "":
		return other.Facts.At.Sub(d.Facts.At).Abs() <= nearHours
	}
	return false
}
