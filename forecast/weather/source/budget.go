package source

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"
)

// Budgets says when a service may be asked next. Programs that share one share
// its bounds.
type Budgets interface {
	// TakeQuestion takes one question that counts as cost against a day's (UTC)
	// sum, and holds questions apart by the given number a second; a bound of 0 is
	// none. wait is how long to hold it back; spent is true if the day's sum is
	// used up, and then nothing is taken.
	TakeQuestion(ctx context.Context, service string, cost, perSecond, perDay float64, now time.Time) (wait time.Duration, spent bool,
		err error)
}

// Bound is how often a service may be asked; 0 is without bound.
type Bound struct{ PerSecond, PerDay float64 }

// question is what a request counts as, on its way to the network.
type question struct {
	service string
	cost    float64
}

type questionKey struct{}

func asking(ctx context.Context, service string, cost float64) context.Context {
	return context.WithValue(ctx, questionKey{}, question{service, cost})
}

// longestWait is how long a question is held back; beyond it another service is
// the better answer.
const longestWait = 8 * time.Second

// errSpent is why a question was not put.
type errSpent struct{ detail, remedy string }

func (e errSpent) Error() string { return e.detail }

// bounded sits right before the network: answers that are kept cost nothing.
type bounded struct {
	next    http.RoundTripper
	budgets Budgets
	alone   *OwnBudgets // where those can't be reached
	bounds  map[string]Bound
	warn    func(msg string, args ...any)
}

func (b bounded) RoundTrip(r *http.Request) (*http.Response, error) {
	q, known := r.Context().Value(questionKey{}).(question)
	name, _, _ := strings.Cut(q.service, " ")
	bound := b.bounds[name]
	if !known || bound == (Bound{}) {
		return b.next.RoundTrip(r)
	}
	now := time.Now()
	wait, spent, err := b.take(r.Context(), name, q.cost, bound, now)
	if err != nil { // weather matters more than a count in common
		b.warn("the budget of a weather service can't be kept with other daemons", "service", name, "error", err)
	}
	switch {
	case spent:
		return nil, errSpent{fmt.Sprintf("today's %g questions to it are used up", bound.PerDay),
			"it is asked again after midnight UTC; ask less often, or raise per_day if its terms allow"}
	case wait > longestWait:
		return nil, errSpent{fmt.Sprintf("questions to it queue for %s", wait.Round(time.Second)), "raise per_second if its terms allow"}
	case wait > 0:
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-r.Context().Done():
			return nil, r.Context().Err()
		}
	}
	return b.next.RoundTrip(r)
}

// take takes a question from the common budget, and from this program's own where that
// can't be reached; what was taken in common counts in its own as well.
func (b bounded) take(ctx context.Context, name string, cost float64, bound Bound, now time.Time) (wait time.Duration, spent bool,
	err error) {
	const patience = 3 * time.Second
	asked, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	wait, spent, err = b.budgets.TakeQuestion(asked, name, cost, bound.PerSecond, bound.PerDay, now)
	own, ownSpent, _ := b.alone.TakeQuestion(ctx, name, cost, bound.PerSecond, bound.PerDay, now)
	if err != nil {
		return own, ownSpent, err
	}
	return wait, spent, nil
}

func isSpent(err error) bool {
	var e errSpent
	return errors.As(err, &e)
}

// OwnBudgets are those of one program, in memory.
type OwnBudgets struct {
	mu sync.Mutex
	of map[string]*ownBudget
}

type ownBudget struct {
	freeAt time.Time
	day    string
	used   float64
}

// TakeQuestion is that of Budgets.
func (o *OwnBudgets) TakeQuestion(_ context.Context, service string, cost, perSecond, perDay float64,
	now time.Time) (wait time.Duration, spent bool, err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.of == nil {
		o.of = map[string]*ownBudget{}
	}
	b := o.of[service]
	if b == nil {
		b = &ownBudget{}
		o.of[service] = b
	}
	if day := now.UTC().Format(time.DateOnly); day != b.day {
		b.day, b.used = day, 0
	}
	if perDay > 0 && b.used+cost > perDay {
		return 0, true, nil
	}
	b.used += cost
	if perSecond > 0 {
		if b.freeAt.Before(now) {
			b.freeAt = now
		}
		wait = b.freeAt.Sub(now)
		b.freeAt = b.freeAt.Add(time.Duration(float64(time.Second) / perSecond))
	}
	return wait, false, nil
}
