package forecast

import (
	"slices"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
)

// OffRound is a round that somebody said they make, or groups of it, that can't be any more.
type OffRound struct {
	Who    string    `json:"who"` // id of a person, "" for whoever goes
	Start  time.Time `json:"start"`
	Groups []string  `json:"groups"`
	Why    string    `json:"why"` // "pulled": the taps are; "gone": the settings have no such group
}

const (
	offPulled = "pulled"
	offGone   = "gone"
)

// promise is a round that somebody has said they make.
type promise struct {
	start, end time.Time
	who        []string // ids: those who said so, and who goes along
	groups     []string // none: the plan chooses
	told       bool     // nobody has said so: the last evening told of it
}

// early is how long before its start a round may have begun: what was collected since then,
// and since it was said, was collected on it.
const early = time.Hour

// promisesOf are the rounds that people have said they make and that are not over, each
// group on one at a time. Who has said so of the same groups at the same time goes together.
func promisesOf(in *Inputs) []promise {
	var out []promise
	going := in.saidOf(records.Going)
	for _, a := range going {
		since := a.From.Add(-early)
		if since.Before(a.SaidAt) {
			since = a.SaidAt
		}
		p := promise{start: a.From, end: a.To, who: []string{a.Person}}
		for _, g := range a.Groups {
			if slices.ContainsFunc(in.Site.Groups, func(group Group) bool { return group.ID == g }) && !in.collectedSince(g, since) {
				p.groups = append(p.groups, g)
			}
		}
		if len(a.Groups) > 0 && len(p.groups) == 0 {
			continue // done, or off
		}
		for _, id := range a.With {
			busy := func(b *records.Attendance) bool { return b.Person == id && b.Overlaps(a) }
			if !slices.ContainsFunc(going, busy) && !slices.ContainsFunc(in.saidOf(records.Away), busy) && !slices.Contains(p.who, id) {
				p.who = append(p.who, id)
			}
		}
		k := slices.IndexFunc(out, func(o promise) bool {
			return o.start.Equal(p.start) && slices.ContainsFunc(p.groups, func(g string) bool { return slices.Contains(o.groups, g) })
		})
		if k < 0 {
			out = append(out, p)
			continue
		}
		o := &out[k]
		o.who, o.groups = union(o.who, p.who), union(o.groups, p.groups)
		if p.end.After(o.end) {
			o.end = p.end
		}
	}
	return out
}

// afterEvening is how far the next evening is once one has spoken.
const afterEvening = 20 * time.Hour

// tooLate reports whether a round that was told is over, or has begun as the next evening
// speaks of tomorrow: "gather today at 5 pm" at half past six helps nobody.
func tooLate(in *Inputs, r *CrewRound) bool {
	return !r.End.After(in.Now) || r.Start.Before(in.Now) && nextEvening(in).Sub(in.Now) > afterEvening
}

// toldOf are the rounds of which the last evening told that can still be made: not those of
// people who have said something else since, nor those that lead into danger, and without
// groups that somebody has been to, has promised, or pulled.
func toldOf(in *Inputs, said []promise, dangers []Danger) []promise {
	var out []promise
	going, away := in.saidOf(records.Going), in.saidOf(records.Away)
	for i := range in.Told.Rounds {
		r := &in.Told.Rounds[i]
		busy := func(a *records.Attendance) bool {
			return (a.Person == "" || slices.Contains(r.Who, a.Person)) && a.From.Before(r.End) && a.To.After(r.Start)
		}
		inDanger := func(d Danger) bool { return r.Start.Before(d.To) && r.End.After(d.From) }
		if tooLate(in, r) || slices.ContainsFunc(going, busy) || slices.ContainsFunc(away, busy) || slices.ContainsFunc(dangers, inDanger) {
			continue
		}
		p := promise{start: r.Start, end: r.End, who: r.Who, told: true}
		for _, g := range r.Groups {
			promised := func(p promise) bool { return slices.Contains(p.groups, g.Group) }
			known := func(group Group) bool { return group.ID == g.Group }
			if g.Share > 0.999 && slices.ContainsFunc(in.Site.Groups, known) && !in.collectedSince(g.Group, in.Told.Since[g.Group]) &&
				!slices.ContainsFunc(said, promised) {
				p.groups = append(p.groups, g.Group)
			}
		}
		if len(p.groups) > 0 && (len(p.who) > 0 || len(in.Site.Gathering.Free) == 0) {
			if len(p.who) == 0 {
				p.who = []string{""}
			}
			out = append(out, p)
		}
	}
	return out
}

func union(a, b []string) []string {
	for _, x := range b {
		if !slices.Contains(a, x) {
			a = append(a, x)
		}
	}
	return a
}

// saidOf are what people have said that is not over. Of two rounds of one person at once
// the one that was said later counts.
func (in *Inputs) saidOf(kind records.AttendanceKind) []*records.Attendance {
	var out []*records.Attendance
	for i := range in.Attendance {
		a := &in.Attendance[i]
		if a.Kind != kind || !a.To.After(in.Now) {
			continue
		}
		if kind == records.Going {
			out = slices.DeleteFunc(out, func(b *records.Attendance) bool { return b.Person == a.Person && b.Overlaps(a) })
		}
		out = append(out, a)
	}
	return out
}

func (in *Inputs) collectedSince(group string, from time.Time) bool {
	g := slices.IndexFunc(in.Site.Groups, func(g Group) bool { return g.ID == group })
	return g >= 0 && slices.ContainsFunc(in.visitsByGroup()[g], func(v records.Visit) bool {
		return v.Collected() && !v.DateOnly && v.CollectedAt.After(from) && !v.CollectedAt.After(in.Now)
	})
}

// pin is what is asked of the plan that starts at an hour. A round that is under way is
// asked for at the plan's first hour. Where nobody has said when they are free, whoever
// makes the round is who would have gone.
func (p *promise) pin(site *Site, start time.Time) rounds.Pin {
	at, who := p.start, slices.Clone(p.who)
	if at.Before(start) {
		at = start
	}
	if len(site.Gathering.Free) == 0 && len(who) > 0 {
		who[0] = ""
	}
	return rounds.Pin{Start: at, Who: who, Groups: p.groups, Told: p.told}
}

// restore puts into a planned round what was said of it.
func (p *promise) restore(r *CrewRound, zone *time.Location) {
	if r.Start.After(p.start) { // under way
		if r.End = p.start.Add(time.Duration(r.Minutes) * time.Minute); p.end.After(r.End) {
			r.End = p.end
		}
		r.Start, r.End = p.start.In(zone), r.End.In(zone)
	}
	r.Who = slices.DeleteFunc(slices.Clone(p.who), func(id string) bool { return id == "" })
}

// keepAway takes the hours from helpers in which they have said they can't.
func (in *Inputs) keepAway(helpers []rounds.Helper) {
	for _, a := range in.saidOf(records.Away) {
		for k := range helpers {
			if helpers[k].ID == a.Person {
				helpers[k].Away = append(helpers[k].Away, rounds.Span{From: a.From, To: a.To})
			}
		}
	}
	for k := range helpers {
		slices.SortFunc(helpers[k].Away, func(a, b rounds.Span) int { return a.From.Compare(b.From) })
	}
}

// offRounds are what people have said they do at groups that are not there any more.
func offRounds(in *Inputs) []OffRound {
	out := []OffRound{}
	for _, a := range in.saidOf(records.Going) {
		off := map[string][]string{}
		for _, id := range a.Groups {
			k := slices.IndexFunc(in.Site.Groups, func(g Group) bool { return g.ID == id })
			switch {
			case k < 0:
				off[offGone] = append(off[offGone], id)
			case !in.Site.Groups[k].Pulled.IsZero():
				off[offPulled] = append(off[offPulled], id)
			}
		}
		for _, why := range []string{offPulled, offGone} {
			if len(off[why]) > 0 {
				out = append(out, OffRound{Who: a.Person, Start: a.From.In(in.Site.Zone), Groups: off[why], Why: why})
			}
		}
	}
	return out
}

// namesFromAttendance adds those to a site's people who have said something and whom the
// settings give no hours.
func namesFromAttendance(in *Inputs) {
	people := slices.Clone(in.Site.Gathering.People)
	for _, a := range slices.Concat(in.saidOf(records.Going), in.saidOf(records.Away)) {
		if a.Person != "" && !slices.ContainsFunc(people, func(p PersonName) bool { return p.ID == a.Person }) {
			people = append(people, PersonName{ID: a.Person, Name: a.Name})
		}
	}
	in.Site.Gathering.People = people
}
