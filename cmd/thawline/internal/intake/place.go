package intake

import (
	"math"
	"strings"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// settled are the visits of an entry in one form: what they leave out is filled in, and
// notes and figures are as they are kept.
func (e *Entry) settled(now time.Time) []records.Visit {
	out := make([]records.Visit, len(e.Visits))
	for i, v := range e.Visits {
		if v.CollectedAt.IsZero() {
			v.CollectedAt, v.DateOnly = now, false // a moment, of which there may be several in a day
		}
		v.CollectedAt = v.CollectedAt.In(e.Site.Zone).Truncate(time.Millisecond) // as finely as they are kept
		v.VolumeL = math.Round(v.VolumeL*100) / 100
		v.Note = e.note(v.Note)
		out[i] = v
	}
	return out
}

// note is a note on one line, with ticks as they are kept.
func (e *Entry) note(note string) string {
	note = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(note, ""), func(c rune) bool { return c <= ' ' || c == 0x7f }), " ")
	if e.Words != nil {
		note = e.Words.KeptNote(note)
	}
	return note
}

// judged finds the groups of visits and looks them over.
func (e *Entry) judged(visits []records.Visit, now time.Time) Result {
	r := Result{Records: make([]Record, len(visits))}
	if !e.From.Can(auth.WriteRecords) || !e.From.Sees(e.Site.ID) {
		r.Refused, r.Barred, r.Blocking = true, true, true
		for i := range r.Records {
			r.Records[i] = Record{Visit: visits[i], Outcome: Refused}
		}
		return r
	}
	groups := make([]records.Group, len(e.Site.Groups))
	for i, g := range e.Site.Groups {
		groups[i] = records.Group{ID: g.ID, Name: g.Name}
	}
	doubts := records.ResolveGroups(visits, e.Site.ID, groups)
	doubts = append(doubts, records.Validate(visits, now, func(v *records.Visit) records.Capacity {
		c := e.Site.Capacity(v.Group)
		c.VolumeL *= float64(max(e.Fillings, 1))
		return c
	})...)
	for i := range visits {
		v := &visits[i]
		if v.Taps == 0 {
			v.Taps = e.Site.Capacity(v.Group).Taps
		}
		r.Records[i] = Record{Visit: *v, Name: nameOf(e.Site, v.Group)}
	}
	for i := range doubts {
		d := &doubts[i]
		rec := &r.Records[d.Index]
		if d.Refusal = d.Refusal && (!e.Doubtful || d.Blocking()); d.Refusal {
			rec.Outcome, r.Refused = Refused, true
			r.Blocking = r.Blocking || d.Blocking()
		}
		rec.Doubts = append(rec.Doubts, *d)
	}
	return r
}

// nameOf is what a group is called.
func nameOf(site *forecast.Site, group string) string {
	for i := range site.Groups {
		if g := &site.Groups[i]; g.ID == group && g.Name != "" {
			return g.Name
		}
	}
	return group
}

// place says what becomes of a visit beside those of its group around it; said is how it
// came in.
//
// A visit is named by its group and the moment that was written down for it: other
// figures for these are a correction. Where nobody wrote a moment, and now is meant, it
// is not the visit of the same moment.
func (e *Entry) place(v records.Visit, said *records.Visit, near []archive.Stored) archive.Placed {
	named := !said.CollectedAt.IsZero() || e.Correct
	for i := range near {
		n := &near[i]
		if !named || !sameMoment(&v, &n.Visit) {
			continue
		}
		if said.Taps == 0 {
			v.Taps = n.Taps
		}
		switch {
		case n.Removed:
			return archive.Placed{Outcome: archive.BroughtBack, Visit: v, Of: i}
		case e.alike(&n.Visit, &v):
			return archive.Placed{Outcome: archive.Same, Of: i}
		}
		return archive.Placed{Outcome: archive.Corrected, Visit: v, Of: i}
	}
	if p, again := e.again(&v, near, named); again {
		return p
	}
	if p, slip := e.slip(&v, near); slip && !named {
		return p
	}
	p := archive.Placed{Outcome: archive.Added, Visit: v}
	for i := range near {
		if !near[i].Removed && v.IsLoadWith(&near[i].Visit) {
			p.Outcome = archive.Load
		}
	}
	for i := 0; i < len(near); i++ { // oldest first: each later moment that is taken is met
		if sameMoment(&p.Visit, &near[i].Visit) {
			p.Visit.CollectedAt = p.Visit.CollectedAt.Add(time.Millisecond)
		}
	}
	return p
}

// again finds the record that a visit says again, the nearest in time. Sugar and a note
// that it did not have are added to it where nobody wrote another moment for them.
func (e *Entry) again(v *records.Visit, near []archive.Stored, named bool) (archive.Placed, bool) {
	of, least := -1, time.Duration(math.MaxInt64)
	for i := range near {
		n := &near[i]
		if apart := v.CollectedAt.Sub(n.CollectedAt).Abs(); !n.Removed && v.IsAgain(&n.Visit) && apart < least {
			of, least = i, apart
		}
	}
	if of < 0 {
		return archive.Placed{}, false
	}
	fuller := near[of].Visit
	if math.IsNaN(fuller.BrixPct) {
		fuller.BrixPct = v.BrixPct
	}
	if fuller.Note == "" {
		fuller.Note = v.Note
	}
	if named || e.alike(&near[of].Visit, &fuller) {
		return archive.Placed{Outcome: archive.Same, Of: of}, true
	}
	return archive.Placed{Outcome: archive.Corrected, Visit: fuller, Of: of}, true
}

// slip finds the record that a visit puts right: its writer's own of minutes before, with a figure
// ten times as large.
func (e *Entry) slip(v *records.Visit, near []archive.Stored) (archive.Placed, bool) {
	const (
		soon  = 10 * time.Minute
		tenth = 10.0
	)
	for i := range near {
		n := &near[i]
		if n.Removed || n.RecordedBy != e.From.Name || v.DateOnly || n.DateOnly || v.CollectedAt.Sub(n.CollectedAt).Abs() > soon ||
			!(v.VolumeL > 0) || math.Abs(tenth*v.VolumeL-n.VolumeL) > 0.001*n.VolumeL {
			continue
		}
		right := n.Visit
		right.VolumeL = v.VolumeL
		if !math.IsNaN(v.BrixPct) {
			right.BrixPct = v.BrixPct
		}
		return archive.Placed{Outcome: archive.Corrected, Visit: right, Of: i}, true
	}
	return archive.Placed{}, false
}

func sameMoment(a, b *records.Visit) bool {
	if a.DateOnly != b.DateOnly {
		return false
	}
	if a.DateOnly {
		return a.CollectedAt.Format(time.DateOnly) == b.CollectedAt.In(a.CollectedAt.Location()).Format(time.DateOnly)
	}
	return a.CollectedAt.Equal(b.CollectedAt)
}

// alike reports whether a kept visit says what another does, to what is kept of it.
func (e *Entry) alike(kept, v *records.Visit) bool {
	same := func(x, y, by float64) bool { return math.Abs(x-y) < by || math.IsNaN(x) && math.IsNaN(y) }
	return kept.Taps == v.Taps && same(kept.VolumeL, v.VolumeL, 0.00501) && same(kept.BrixPct, v.BrixPct, 1e-9) &&
		(kept.Note == v.Note || e.note(kept.Note) == v.Note)
}
