package alerts

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/forecast"
)

const (
	// newWithin is how long before it starts a new round is told: by then the plan of the morning
	// or of the day is firm, and there is time to go.
	newWithin = 16 * time.Hour
	// writesFor is how long after a visit somebody may still be writing down the others of a round.
	writesFor = 30 * time.Minute
	// movesEarlier and movesLater are by how much a round that people know of has to move for
	// them to hear of it: earlier it can be missed, later they only come too soon.
	// A visit so long before its hour was that round.
	movesEarlier, movesLater = 90 * time.Minute, 3 * time.Hour
	// mayBeDone is how long after its hour a round that nobody wrote down may well have been made.
	mayBeDone = 12 * time.Hour
	// movedRound is what is said where people know of another hour.
	movedRound = "moved"
)

// knownRounds lists the rounds that people know of: those of the last evening text, or of
// the news of a round since, which has them all; and when it was told.
func (r *rules) knownRounds() (rounds []NamedRound, at time.Time) {
	last, at, _ := r.lastEvening()
	news, later, told, err := r.memory.Last(r.site, NewRound, "")
	if err != nil {
		r.err = err
	}
	if told && later.After(at) {
		return news.Facts.Rounds, later
	}
	return last.Facts.Rounds, at
}

// newRound tells of rounds that the plan has gained since people were told of it, or has
// moved by hours: once, by day, before the evening text speaks of what comes after it, where
// they save more than the trip, and most likely bring more, and no other message tells of the
// group.
func (r *rules) newRound() {
	if r.sleeps() || r.dangerous() || r.waitsForEvening() || r.writing() {
		return
	}
	known, _ := r.knownRounds()
	var fresh []NamedRound
	savesL, likelyL, moved, soon := 0.0, 0.0, false, false
	for _, g := range r.o.Work.Due() {
		if g.GoAt.Before(r.at.Now) || !g.GoAt.Before(r.speaks()) {
			continue
		}
		knows, other := r.knowsOf(&g, known)
		if knows || r.warnedOf(&g) {
			continue
		}
		fresh = append(fresh, NamedRound{g.Group, *g.GoAt})
		savesL, likelyL = savesL+g.LossAvoidedL, likelyL+g.VolumeL.P50
		moved, soon = moved || other, soon || g.GoAt.Sub(r.at.Now) <= newWithin
	}
	if !soon || min(savesL, likelyL) < r.o.Work.TripL {
		return
	}
	isFresh := func(n NamedRound) bool { // or over
		return r.at.Now.Sub(n.At) > mayBeDone || slices.ContainsFunc(fresh, func(f NamedRound) bool { return f.Group == n.Group })
	}
	work := r.o.Work.Announced()
	f := Facts{New: fresh, Rounds: append(slices.DeleteFunc(slices.Clone(known), isFresh), fresh...), Work: &work}
	if moved {
		f.What = movedRound
	}
	key := fresh[0].At.In(r.zone).Format(time.DateOnly)
	for _, n := range fresh {
		key += ":" + n.Group + n.At.In(r.zone).Format("@1504")
	}
	r.tell(Decision{Kind: NewRound, Key: key, Until: fresh[len(fresh)-1].At.Add(missedAfter), Facts: f,
		Why: []string{fmt.Sprintf("rounds that nobody was told of save %.0f L, at least %.0f; the first at %s", savesL, r.o.Work.TripL,
			fresh[0].At.In(r.zone).Format("Mon 15:04"))}})
}

// speaks is when the next evening text speaks of what comes after it. The work looks beyond
// one that is near.
func (r *rules) speaks() time.Time {
	if before := r.o.Work.Until.In(r.zone).AddDate(0, 0, -1); before.After(r.at.Now) {
		return before
	}
	return r.o.Work.Until
}

// writing reports whether somebody has emptied a group so lately that more of the round may
// still be written down.
func (r *rules) writing() bool {
	return slices.ContainsFunc(r.o.Work.Groups, func(g forecast.GroupWork) bool {
		return g.SinceVisit != nil && r.at.Now.Sub(*g.SinceVisit) < writesFor
	})
}

// waitsForEvening reports whether it is past this evening's hour, and no text has come yet:
// it may be on its way, and whatever is new by then is told in the morning.
func (r *rules) waitsForEvening() bool {
	slot := r.o.Work.Until.In(r.zone).AddDate(0, 0, -1)
	if slot.After(r.at.Now) || slot.Format(time.DateOnly) != r.today() {
		return false
	}
	_, at, told := r.lastEvening()
	const ownTurn = 90 * time.Minute // by which a bush of many has its evening before the hour of all
	return !told || at.Before(slot.Add(-ownTurn))
}

// knowsOf reports whether people know of the next round to a group, as near as matters; and
// else whether they know of another that is still to come. One that was told and is not
// written down may well be done: they are not sent again.
func (r *rules) knowsOf(g *forecast.GroupWork, known []NamedRound) (knows, other bool) {
	for _, n := range known {
		switch by := g.GoAt.Sub(n.At); {
		case n.Group != g.Group || g.SinceVisit != nil && g.SinceVisit.After(n.At.Add(-movesEarlier)):
		case r.at.Now.Sub(n.At) > mayBeDone:
		case by > -movesEarlier && (by < movesLater || n.At.Before(r.at.Now)):
			return true, false
		default:
			other = true
		}
	}
	return false, other
}

// warnedOf reports whether a warning tells people to go to a group, now or since it was last
// emptied.
func (r *rules) warnedOf(g *forecast.GroupWork) bool {
	key := g.Group + ":" + since(g.SinceVisit, r.at.Now, r.zone)
	for _, k := range []Kind{Overflow, HardFreeze, BoilBy} {
		if slices.ContainsFunc(r.out, func(d Decision) bool { return d.Kind == k && strings.HasPrefix(d.Key, string(k)+":"+g.Group+":") }) {
			return true
		}
		if at, told := r.told(k, key); told && r.at.Now.Sub(at) < r.t.OverflowWithin {
			return true
		}
	}
	return false
}

// emptied reports whether somebody has been to a group since a new round to it was told, or
// its taps are pulled.
func (d *Decision) emptied(group string, o *forecast.Outlook) bool {
	g := o.Work.Group(group)
	return g.Pulled || g.SinceVisit != nil && d.Facts.Work != nil && g.SinceVisit.After(d.Facts.Work.Since[group])
}
