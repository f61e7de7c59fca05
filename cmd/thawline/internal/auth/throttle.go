package auth

import (
	"fmt"
	"net/netip"
	"sync"
	"time"
)

// ErrThrottled is what a try gives that has to wait longer than a request may.
type ErrThrottled struct{ For time.Duration }

func (e ErrThrottled) Error() string {
	return fmt.Sprintf("too many wrong tries: wait %s", e.For.Round(time.Second))
}

const (
	// So many wrong tries cost nobody anything.
	freeTries    = 5  // for one person from one network, or from one known device
	freeForHouse = 20 // for anybody from one network
	freeForBlock = 60 // for anybody from all networks that one provider gives out together
	// After them tries take turns, further apart each time.
	firstTurn   = time.Second
	longestTurn = 8 * time.Second
	forgetTries = time.Hour
	// A try waits so long for its turn; one that comes while so many wait already is
	// sent away. Who tries one after another never meets this.
	longestQueue = 20 * time.Second
)

// throttle makes who guesses wait for turns. It counts by person and network, and
// forbids nothing by person alone, so that nobody is kept out by what others do
// elsewhere.
type throttle struct {
	mu    sync.Mutex
	known map[string]tries
}

type tries struct {
	wrong int
	last  time.Time // the last wrong one
	turn  time.Time // when the next one may begin
}

// counted is one count that a try belongs to.
type counted struct {
	key  string
	free int
}

// network is what one household or one phone has of addresses: an address of IPv4, the
// half of an address of IPv6. block is what a provider may give to one customer at once.
func network(address string) (network, block string) {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return address, address
	}
	a = a.Unmap().WithZone("")
	whole, part := 64, 48
	if a.Is4() {
		whole, part = 32, 24
	}
	n, _ := a.Prefix(whole) // both lengths fit the address
	b, _ := a.Prefix(part)
	return n.String(), b.String()
}

// stranger are the counts of a try for a person from a device that is not known.
func stranger(person, address string) []counted {
	net, block := network(address)
	return []counted{{"b" + person + "\x00" + net, freeTries}, {"a" + net, freeForHouse}, {"w" + block, freeForBlock}}
}

// device is the count of a device on which the person has logged in before.
func device(id string) []counted { return []counted{{"d" + id, freeTries}} }

// turn takes the next turn of all counts and says how long it is until then. If that is
// beyond what a request may wait, none is taken and it is an ErrThrottled, unless none
// may be refused.
func (w *throttle) turn(of []counted, refuse bool, now time.Time) (time.Duration, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	begins := now
	for _, c := range of {
		if t := w.known[c.key]; t.wrong >= c.free && now.Sub(t.last) <= forgetTries && t.turn.After(begins) {
			begins = t.turn
		}
	}
	wait := begins.Sub(now)
	if wait > longestQueue {
		if refuse {
			return 0, ErrThrottled{wait}
		}
		return longestQueue, nil
	}
	for _, c := range of {
		if t := w.known[c.key]; t.wrong >= c.free && now.Sub(t.last) <= forgetTries {
			t.turn = begins.Add(apart(t.wrong - c.free))
			w.known[c.key] = t
		}
	}
	return wait, nil
}

// apart is how far turns are from each other after so many wrong tries beyond those
// that are free.
func apart(beyond int) time.Duration {
	if beyond >= 3 {
		return longestTurn
	}
	return firstTurn << beyond
}

func (w *throttle) wrong(of []counted, now time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.known == nil || len(w.known) > mostKnown {
		kept := map[string]tries{}
		for k, t := range w.known {
			if now.Sub(t.last) < forgetTries && len(kept) < mostKnown/2 {
				kept[k] = t
			}
		}
		w.known = kept
	}
	for _, c := range of {
		t := w.known[c.key]
		if now.Sub(t.last) > forgetTries {
			t.wrong = 0
		}
		t.wrong, t.last = t.wrong+1, now
		if t.wrong == c.free {
			t.turn = now.Add(apart(0))
		}
		w.known[c.key] = t
	}
}

// right forgets the wrong tries of a person from a network, or of a device: the first of
// the counts.
func (w *throttle) right(of []counted) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.known, of[0].key)
}

// tooMany reports whether so many wrong secrets came from an address that the next wrong
// one is told to wait: right ones, which nobody guesses, are let in before it is asked.
func (w *throttle) tooMany(what, address string, now time.Time) error {
	net, _ := network(address)
	c := counted{"s" + what + "\x00" + net, freeTries}
	w.mu.Lock()
	t := w.known[c.key]
	w.mu.Unlock()
	w.wrong([]counted{c}, now)
	if t.wrong >= freeTries && now.Sub(t.last) <= forgetTries {
		return ErrThrottled{longestTurn}
	}
	return nil
}
