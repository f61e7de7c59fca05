package auth

import (
	"net/http"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// How fast one network may ask. A page is some five requests; a phone that sends
// a day of kept entries some thirty. A gateway hands on what a whole association writes
// back: what is one sender's share of that is asked where the sender is known.
const (
	perSecond   = 20
	burst       = 120
	gatewayPace = 200
	gatewayRoom = 5_000
	mostKnown   = 10_000 // addresses that are remembered
	longestHeld = 5 * time.Second
)

// inTime reports whether a request may go on. One behind a proxy that names nobody is
// held back rather than refused: it may be anybody's.
func (g *Service) inTime(s *state, r *http.Request) bool {
	address, named := s.client(r)
	from, _ := network(address)
	pace, room, patience := rate.Limit(perSecond), burst, time.Duration(0)
	if callBack(r.URL.Path) {
		from, pace, room = "in "+from, gatewayPace, gatewayRoom
	}
	if !named {
		patience = longestHeld
	}
	wait := g.rates.reserve(from, pace, room, patience, g.now())
	return (wait <= patience || !named) && g.pause(r.Context(), min(wait, longestHeld)) == nil
}

// rates limit how fast each address asks.
type rates struct {
	mu    sync.Mutex
	known map[string]*pace
}

type pace struct {
	limit *rate.Limiter
	last  time.Time
}

// reserve takes one of what an address may ask, if it is there within what is waited
// for, and says how long it is until then.
func (r *rates) reserve(address string, perSecond rate.Limit, burst int, patience time.Duration, now time.Time) time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := r.known[address]
	if p == nil {
		if len(r.known) >= mostKnown {
			r.forget(now)
		}
		if r.known == nil {
			r.known = map[string]*pace{}
		}
		p = &pace{limit: rate.NewLimiter(perSecond, burst)}
		r.known[address] = p
	}
	p.last = now
	turn := p.limit.ReserveN(now, 1)
	wait := turn.DelayFrom(now)
	if wait > patience {
		turn.CancelAt(now)
	}
	return wait
}

// forget drops the addresses that have been quiet, or all if none was.
func (r *rates) forget(now time.Time) {
	for a, p := range r.known {
		if now.Sub(p.last) > time.Minute {
			delete(r.known, a)
		}
	}
	if len(r.known) >= mostKnown {
		clear(r.known)
	}
}
