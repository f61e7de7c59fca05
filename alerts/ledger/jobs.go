package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"thawline/alerts"
	"thawline/alerts/engine"
)

// Deliver is the kind of the jobs of deliveries; their key is the delivery's id.
const Deliver = "deliver"

// JoinWithin is how much later than a delivery is due its job is: what the same moment
// decides next for the person still goes with it.
const JoinWithin = time.Second

// Ring lets a job be set for each message that is to be sent, in the transaction that writes
// it. queueOf names the queue in which a person's messages wait. Without it nothing is set.
func (l *Ledger) Ring(jobs engine.Enqueuer, queueOf func(person string) string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.jobs, l.queueOf = jobs, queueOf
}

func (l *Ledger) ringer() (engine.Enqueuer, func(string) string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.jobs, l.queueOf
}

// ring sets the jobs of deliveries in a transaction.
func (l *Ledger) ring(ctx context.Context, tx *sql.Tx, list ...Delivery) error {
	jobs, queueOf := l.ringer()
	if jobs == nil || len(list) == 0 {
		return nil
	}
	set := make([]engine.Job, len(list))
	for i := range list {
		v := &list[i]
		set[i] = engine.Job{Kind: Deliver, Key: v.ID, Queue: queueOf(v.Person), At: v.NextAt, Urgent: v.Urgent}
		if v.Kind != alerts.Reply {
			set[i].At = v.NextAt.Add(JoinWithin)
			l.joins.Store(true)
		}
	}
	return jobs.EnqueueTx(ctx, tx, set...)
}

// rung tells a driver that jobs are there.
func (l *Ledger) rung() {
	jobs, _ := l.ringer()
	if w, wants := jobs.(engine.Waker); wants {
		w.Wake()
	}
}

// Hasten has what waits for company sent at once, where something does: whoever asks knows
// that nothing more is decided at this moment.
func (l *Ledger) Hasten(ctx context.Context, now time.Time) error {
	jobs, _ := l.ringer()
	h, can := jobs.(interface {
		Hasten(ctx context.Context, kind string, now time.Time, within time.Duration) error
	})
	if !can || !l.joins.Swap(false) {
		return nil
	}
	return h.Hasten(ctx, Deliver, now, JoinWithin)
}

// RingAgain sets jobs for the messages that were due before a moment and that nobody has in
// hand: those that an older release wrote, or whose job was lost. What has one keeps it.
func (l *Ledger) RingAgain(ctx context.Context, before, now time.Time) (n int, err error) {
	list, err := l.list(ctx, `SELECT `+deliveryColumns+` WHERE v.state = 'waiting' AND v.next_at <= ?1 AND v.held_until < ?2 AND `+byItself+` ORDER BY v.next_at`, stamp(before), stamp(now))
	if err != nil || len(list) == 0 {
		return 0, err
	}
	tx, err := l.db.BeginTx(ctx, nil)
	if err != nil {
		return 0, fmt.Errorf("ledger: %w", err)
	}
	if err := l.ring(ctx, tx, list...); err != nil {
		return 0, errors.Join(fmt.Errorf("ledger: set jobs again: %w", err), tx.Rollback())
	}
	if err := tx.Commit(); err != nil {
		return 0, fmt.Errorf("ledger: set jobs again: %w", err)
	}
	l.rung()
	return len(list), nil
}
