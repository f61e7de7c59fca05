package alerts

import (
	"fmt"
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

// missedAfter is how long after the start of a named round nobody can be said to have
// forgotten it.
const missedAfter = 2 * time.Hour

// named reports whether the evening text has sent somebody to a group, or does so now, and
// there is still time to go: such a group needs no message of its own.
func (r *rules) named(group string) bool {
	due := namedBy(r.o)
	if !r.at.Evening {
		last, _, told := r.lastEvening()
		if !told {
			return false
		}
		due = last.Facts.Rounds
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

// goBy is when to go to a group at the latest, by the plan; where no round can be made in
// time, by when it has likely run over.
func goBy(g *forecast.GroupWork) time.Time {
	if g.GoAt != nil && g.GoAt.Before(*g.AloneOverAt) {
		if g.Latest.Before(*g.AloneOverAt) {
			return *g.Latest
		}
		return *g.GoAt
	}
	return *g.AloneOverAt
}

// overflow tells once after each visit of containers that run over, unless a round that
// people know of comes first: a group that nobody goes to is not told of again.
func (r *rules) overflow() {
	for i := range r.o.Work.Groups {
		g := &r.o.Work.Groups[i]
		over := g.AloneOverAt
		if g.Decision == forecast.TipOut || g.Spoilt(r.at.Now) || g.AloneProbability < r.t.OverflowProbability || over == nil || over.Sub(r.at.Now) > r.t.OverflowWithin || over.Before(r.at.Now) || r.foreseen(g) {
			continue
		}
		by, inside := r.beforeDanger(goBy(g))
		if inside != nil { // told once it is over, if it still matters: nobody is sent into it
			continue
		}
		r.tell(Decision{Kind: Overflow, Key: g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone), Until: over.Add(3 * time.Hour),
			Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, At: by, Due: *over, VolumeL: g.AloneLossL, Chance: g.AloneProbability},
			Why:   []string{fmt.Sprintf("chance to run over within three days %.2f, at least %.2f; most likely %s, within %s", g.AloneProbability, r.t.OverflowProbability, over.Format("Mon 15:04"), r.t.OverflowWithin)}})
	}
}

// since names an episode: from the last visit on, or by the week where there is
// none on record.
func since(visit *time.Time, now time.Time, zone *time.Location) string {
	if visit != nil {
		return visit.UTC().Format(time.RFC3339)
	}
	y, w := now.In(zone).ISOWeek()
	return fmt.Sprintf("week-%d-%d", y, w)
}

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
			if g.CapacityL == nil || held < r.t.FullShare**g.CapacityL || g.Decision == forecast.TipOut || g.Spoilt(r.at.Now) || r.named(g.Group) || r.dangerous() {
				continue
			}
			r.tell(Decision{Kind: HardFreeze, Key: g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone), Until: r.endOf(d.Date),
				Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, LowC: low, VolumeL: held, Date: d.Date},
				Why:   []string{fmt.Sprintf("low of %.1f °C on %s, at most %.0f; %.0f L held of %.0f, at least %.0f %%", low, d.Date, r.t.FreezeC, held, *g.CapacityL, 100*r.t.FullShare)}})
		}
	}
}

// leastToBoilL is too little sap to tell anybody that it will not keep.
const leastToBoilL = 20

// boilBy tells of sap that will not keep, unless people know of a round in time, and of
// sap that has gone bad: each once after a visit.
func (r *rules) boilBy() {
	for i := range r.o.Work.Groups {
		g := &r.o.Work.Groups[i]
		keeps, held := g.KeepsUntil, g.HeldL.P50+g.IceL
		if keeps == nil || keeps.Sub(r.at.Now) > r.t.BoilWithin || held < leastToBoilL {
			continue
		}
		if g.Spoilt(r.at.Now) {
			if !r.at.Evening { // it can wait until there is more to say
				continue
			}
			r.tell(Decision{Kind: BoilBy, Key: "tip_out:" + g.Group + ":" + since(g.SinceVisit, *keeps, r.zone), Until: r.at.Now.AddDate(0, 0, 1),
				Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, At: *keeps, VolumeL: held, What: "tip_out"},
				Why:   []string{fmt.Sprintf("the sap that hangs has been spoilt since about %s", keeps.Format("Mon 15:04"))}})
			continue
		}
		if r.named(g.Group) && g.GoAt != nil && g.GoAt.Before(*keeps) || r.dangerous() {
			continue
		}
		r.tell(Decision{Kind: BoilBy, Key: g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone), Until: keeps.Add(6 * time.Hour),
			Facts: Facts{Group: r.o.Bush.GroupName(g.Group), GroupID: g.Group, At: *keeps, VolumeL: held},
			Why:   []string{fmt.Sprintf("the sap that hangs is spoilt about %s, within %s", keeps.Format("Mon 15:04"), r.t.BoilWithin)}})
	}
}
