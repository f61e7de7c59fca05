package alerts

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/season"
)

// Sap is tasted for us from such a chance on that it is off, once a year; not where somebody
// tasted it in the days before, nor beside the text that asks for it with the likely end.
const (
	tasteFrom   = 0.35
	tastedSince = 4 * 24 * time.Hour
)

// saidOff reports whether sap tasted off when somebody last wrote it down.
func (r *rules) saidOff() bool {
	return r.o != nil && r.o.Season.Taste != nil && r.o.Season.Taste.Said == records.Off
}

// saidSweet reports whether somebody has written down since a moment, of its day or later,
// that sap tastes sweet, and the season is open.
func (r *rules) saidSweet(since time.Time) bool {
	return r.o != nil && r.o.Season.Stage != season.Over && r.o.Season.Taste != nil && r.o.Season.Taste.Said == records.Sweet &&
		r.o.Season.Taste.SaidOn >= since.In(r.zone).Format(time.DateOnly)
}

// tasteIt asks how sap tastes.
func (r *rules) tasteIt(year string) {
	t := r.o.Season.Taste
	if t == nil || len(t.OffBy) == 0 || !r.o.Season.Tapped || r.o.Season.Stage == season.Over || r.o.Season.Stage == season.Before {
		return
	}
	if on, err := time.ParseInLocation(time.DateOnly, t.SaidOn, r.zone); err == nil && r.at.Now.Sub(on) < tastedSince {
		return
	}
	if _, told := r.told(EndNear, year); !told || r.toldWithin(EndNear, tastedSince) {
		return
	}
	if chance := t.OffBy[0].Chance; chance >= tasteFrom {
		r.tell(Decision{Kind: TasteIt, Key: year, Until: EndOfDay(r.at.Now.In(r.zone)).AddDate(0, 0, 2),
			Facts: Facts{Chance: chance, Score: int(math.Round(10 * chance))},
			Why:   []string{fmt.Sprintf("chance %.2f that sap tastes off today, at least %.2f (%s)", chance, tasteFrom, t.Source)}})
	}
}
