package auth

import (
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// How fast one address may ask. A page is some five requests; a phone that sends
// a day of kept entries some thirty.
const (
	perSecond = 20
	burst     = 120
	mostKnown = 10_000 // addresses that are remembered
)

// rates limit how fast each address asks.
type rates struct {
	mu    sync.Mutex
	known map[string]*pace
}

type pace struct {
	limit *rate.Limiter
	last  time.Time
}

func (r *rates) allow(address string, now time.Time) bool {
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
	return p.limit.AllowN(now, 1)
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
