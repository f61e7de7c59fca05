package alerts

import (
	"fmt"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// official tells at once of a severe official warning that a round touches, once: one
// that the evening text sent somebody on, one that somebody has promised, or one that is
// moved ahead or dropped for it.
func (r *rules) official() {
	if r.o.Season.Stage == season.Over || !r.o.Season.Tapped {
		return
	}
	for i := range r.o.Warnings.List {
		w := &r.o.Warnings.List[i]
		if !w.Severe() || !w.To.After(r.at.Now) || w.From.Sub(r.at.Now) > warnedWithin || !r.touches(w) {
			continue
		}
		f := Facts{Event: w.Event, Issuer: w.Issuer, At: w.From, Ends: w.To, Warning: w.ID}
		if !w.From.After(r.at.Now) {
			f.What = "now"
		}
		r.tell(Decision{Kind: OfficialWarning, Key: w.Thread, Until: w.To, Facts: f,
			Why: []string{fmt.Sprintf("%s by %s, %s, %s to %s, and a round falls into it", w.Event.In("en"), w.Issuer.In("en"),
				w.Severity, w.From.Format("Mon 15:04"), w.To.Format("Mon 15:04"))}})
	}
}

// warnedWithin is how long before it begins a warning is told.
const warnedWithin = 36 * time.Hour

// touches reports whether a round that people know of, or that would be planned, falls
// into a warning.
func (r *rules) touches(w *weather.Warning) bool {
	for i := range r.o.Work.Dangers {
		if d := &r.o.Work.Dangers[i]; d.Warning == w.ID && d.Moves {
			return true
		}
	}
	for i := range r.o.Work.Rounds {
		if round := &r.o.Work.Rounds[i]; round.Pinned && round.Start.Before(w.To) && round.End.After(w.From) {
			return true
		}
	}
	known, _ := r.knownRounds()
	for _, named := range known {
		if named.At.After(r.at.Now.Add(-missedAfter)) && named.At.Before(w.To) && named.At.Add(missedAfter).After(w.From) {
			return true
		}
	}
	return false
}

// dangerous reports whether it is dangerous now, or within the time of a round: nobody is
// told to go then.
func (r *rules) dangerous() bool {
	for i := range r.o.Work.Dangers {
		if d := &r.o.Work.Dangers[i]; d.From.Before(r.at.Now.Add(missedAfter)) && d.To.After(r.at.Now) {
			return true
		}
	}
	return false
}

// beforeDanger moves a deadline ahead of a danger in which it lies; false where the danger
// is there before anybody could go.
func (r *rules) beforeDanger(by time.Time) (time.Time, *forecast.Danger) {
	for i := range r.o.Work.Dangers {
		d := &r.o.Work.Dangers[i]
		if by.Before(d.From) || !by.Before(d.To) {
			continue
		}
		if d.From.After(r.at.Now.Add(missedAfter)) {
			return d.From, nil
		}
		return by, d
	}
	return by, nil
}
