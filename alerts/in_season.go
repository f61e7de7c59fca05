package alerts

import (
	"errors"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// Spring is where in its season a bush is.
type Spring struct {
	Stage     season.Stage
	Tapped    bool
	LastVisit time.Time // this winter, zero where nobody has been to a group
}

// springOf reads it from an outlook.
func springOf(of *forecast.Season, work *forecast.Work) Spring {
	s := Spring{Stage: of.Stage, Tapped: of.Tapped}
	for i := range work.Groups {
		if at := work.Groups[i].SinceVisit; at != nil && at.After(s.LastVisit) {
			s.LastVisit = *at
		}
	}
	return s
}

// stillGathers is how long after a visit a bush that is past its season still counts as
// worked.
const stillGathers = 14 * 24 * time.Hour

// Open reports whether a bush is worth a message at a local moment: from the usual start of
// the season to its end, earlier if it is tapped, and later as long as somebody gathers.
func (s Spring) Open(now time.Time) bool {
	stage := s.Stage
	if stage == season.Over && now.Month() >= time.October {
		stage = season.Before // of the next one
	}
	switch stage {
	case season.Before:
		return s.Tapped
	case season.Over:
		return !s.LastVisit.IsZero() && now.Sub(s.LastVisit) < stillGathers
	}
	return true
}

// outOfSeason reports whether a kind is not told at this time of the year.
func (r *rules) outOfSeason(k Kind) bool {
	p, _ := ProfileOf(k)
	if k.OfGroup() && r.saidOff() { // what hangs is no loss
		return true
	}
	switch p.Season {
	case Anytime:
		return false
	case WhileSapRuns:
		return !r.spring.Open(r.at.Now.In(r.zone)) || r.ended()
	}
	return !r.spring.Open(r.at.Now.In(r.zone))
}

// leftOfSeason is how long it is to the likely end of good sap, less than zero after it;
// false where that is not known.
func (r *rules) leftOfSeason() (time.Duration, bool) {
	if r.o == nil {
		return 0, false
	}
	end, err := time.ParseInLocation(time.DateOnly, r.o.Season.End.P50, r.zone)
	return end.Sub(r.at.Now), err == nil
}

// justOver reports whether the season of a bush that is tapped is over, and has not been for
// long.
func (r *rules) justOver() bool {
	left, known := r.leftOfSeason()
	return known && r.o.Season.Tapped && r.o.Season.Stage == season.Over && left > -30*24*time.Hour
}

// ended reports whether people are told now that the season is over, or were earlier this
// year and nobody has gathered since sap that still tastes.
func (r *rules) ended() bool {
	if at, told := r.told(EndHere, r.at.Now.In(r.zone).Format("2006")); told {
		return r.saidOff() || !r.spring.LastVisit.After(at) && !r.saidSweet(at)
	}
	return r.at.Evening && r.justOver()
}

// told is when something of a kind, with a key that begins so, was last told.
func (r *rules) told(k Kind, keyBegins string) (at time.Time, told bool) {
	_, at, told, err := r.memory.Last(r.site, k, keyBegins)
	r.err = errors.Join(r.err, err)
	return at, told
}

// toldWithin reports whether a kind was told within so long.
func (r *rules) toldWithin(k Kind, within time.Duration) bool {
	at, told := r.told(k, "")
	return told && r.at.Now.Sub(at) < within
}

// toldToday reports whether a kind was told on this local date.
func (r *rules) toldToday(k Kind) bool {
	at, told := r.told(k, "")
	return told && at.In(r.zone).Format(time.DateOnly) == r.today()
}

// today is the local date.
func (r *rules) today() string { return r.at.Now.In(r.zone).Format(time.DateOnly) }
