package daemon

import (
	"slices"
	"sync"
	"time"

	"thawline/forecast"
)

// eyes are what was seen today at the bushes that share it, by site, as far as this daemon
// made their outlooks. It is gone with the day.
type eyes struct {
	mu   sync.Mutex
	seen map[string]sighting
}

type sighting struct {
	at  time.Time
	day string // local date
	is  forecast.Nearby
}

// keep keeps what an outlook says was seen today at a site, or that nothing was.
func (e *eyes) keep(site *forecast.Site, o *forecast.Outlook) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if !site.Shares.Seen || o.Seen == nil {
		delete(e.seen, site.ID)
		return
	}
	if e.seen == nil {
		e.seen = map[string]sighting{}
	}
	e.seen[site.ID] = sighting{o.IssuedAt, o.IssuedAt.In(site.Zone).Format(time.DateOnly), *o.Seen}
}

// near is what others saw on the day of a moment, by site; nothing for one who does not share.
func (e *eyes) near(site *forecast.Site, now time.Time) []forecast.Nearby {
	if !site.Shares.Seen {
		return nil
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	today := now.In(site.Zone).Format(time.DateOnly)
	var ids []string
	for id, s := range e.seen {
		if id != site.ID && s.day == today && !s.at.After(now) && s.is.Matters(&site.Place) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	out := make([]forecast.Nearby, len(ids))
	for i, id := range ids {
		out[i] = e.seen[id].is
	}
	return out
}
