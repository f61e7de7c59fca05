package daemon

import (
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// How fast one person may write: a day of rounds at once, then one every few seconds. Two
// machines that answer each other are slowed down by it.
const (
	textsBurst = 30
	textEvery  = 4 * time.Second
)

// senders limit how fast each person writes, whichever gateway hands their texts on.
type senders struct {
	mu    sync.Mutex
	known map[string]*rate.Limiter
}

// allow is only asked for people of the settings: there are no more of them than those.
func (s *senders) allow(person string, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	limit := s.known[person]
	if limit == nil {
		if s.known == nil {
			s.known = map[string]*rate.Limiter{}
		}
		limit = rate.NewLimiter(rate.Every(textEvery), textsBurst)
		s.known[person] = limit
	}
	return limit.AllowN(now, 1)
}
