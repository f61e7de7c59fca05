package auth

import (
	"fmt"
	"sync"
	"time"
)

// ErrThrottled is what a try gives that comes too soon after wrong ones.
type ErrThrottled struct{ For time.Duration }

func (e ErrThrottled) Error() string {
	return fmt.Sprintf("too many wrong tries: wait %s", e.For.Round(time.Second))
}

const (
	freeTries   = 5
	firstWait   = 15 * time.Second
	longestWait = 15 * time.Minute
	forgetTries = time.Hour
	// Guessing for one person from many addresses is slowed as well, but never so
	// that the person is kept out.
	freeForPerson = 30
	waitForPerson = 5 * time.Second
)

// throttle makes who guesses wait, longer each time.
type throttle struct {
	mu    sync.Mutex
	known map[string]tries
}

type tries struct {
	wrong int
	last  time.Time
}

// check is an ErrThrottled if a name from an address has to wait.
func (w *throttle) check(person, address string, now time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	longest := time.Duration(0)
	for _, key := range []string{"a" + address, "b" + person + "\x00" + address} {
		t := w.known[key]
		if t.wrong < freeTries || now.Sub(t.last) > forgetTries {
			continue
		}
		wait := longestWait
		if doublings := t.wrong - freeTries; doublings < 6 {
			wait = min(firstWait<<doublings, longestWait)
		}
		longest = max(longest, wait-now.Sub(t.last))
	}
	if t := w.known["p"+person]; t.wrong >= freeForPerson && now.Sub(t.last) <= forgetTries {
		longest = max(longest, waitForPerson-now.Sub(t.last))
	}
	if longest > 0 {
		return ErrThrottled{longest}
	}
	return nil
}

func (w *throttle) wrong(person, address string, now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.known == nil || len(w.known) > mostKnown {
		kept := map[string]tries{}
		for k, t := range w.known {
			if now.Sub(t.last) < longestWait && len(kept) < mostKnown/2 {
				kept[k] = t
			}
		}
		w.known = kept
	}
	for _, key := range []string{"a" + address, "b" + person + "\x00" + address, "p" + person} {
		t := w.known[key]
		if now.Sub(t.last) > forgetTries {
			t.wrong = 0
		}
		w.known[key] = tries{t.wrong + 1, now}
	}
}

// right forgets the wrong tries of a person from an address.
func (w *throttle) right(person, address string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.known, "b"+person+"\x00"+address)
	delete(w.known, "a"+address)
}
