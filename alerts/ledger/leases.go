package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Several daemons may share a database. What one has in hand the others leave
// alone, until its lease has run out: then it is taken to have died or stalled.
// A daemon that comes back under its own name goes on at once.

// Claim takes deliveries that are due, the oldest first, for a holder until a
// moment, and gives what it took.
func (l *Ledger) Claim(ctx context.Context, holder string, now, until time.Time, most int) ([]Delivery, error) {
	// The conditions stand in both places: of two daemons that find the same rows,
	// the second reads them again and passes them by.
	const free = `state = 'waiting' AND next_at <= ?1 AND (held_until < ?1 OR holder = ?2)`
	if _, err := l.db.ExecContext(ctx, `UPDATE delivery SET holder = ?2, held_until = ?3 WHERE `+free+`
		AND id IN (SELECT v.id FROM delivery v WHERE `+free+` AND `+byItself+` ORDER BY v.next_at LIMIT ?4)`, stamp(now), holder, stamp(until), most); err != nil {
		return nil, fmt.Errorf("ledger: claim deliveries: %w", err)
	}
	return l.list(ctx, `SELECT `+deliveryColumns+` WHERE v.state = 'waiting' AND v.next_at <= ?1 AND v.holder = ?2 AND v.held_until >= ?1 AND `+byItself+` ORDER BY v.next_at LIMIT ?3`, stamp(now), holder, most)
}

// Renew reads again, right before sending, that a delivery is still in the
// holder's hand and still to be sent, and holds it until a moment.
func (l *Ledger) Renew(ctx context.Context, id, holder string, now, until time.Time) (bool, error) {
	done, err := l.db.ExecContext(ctx, `UPDATE delivery SET held_until = ?4 WHERE id = ?1 AND holder = ?2 AND held_until >= ?3 AND state = 'waiting'`, id, holder, stamp(now), stamp(until))
	if err != nil {
		return false, fmt.Errorf("ledger: renew %s: %w", id, err)
	}
	n, err := done.RowsAffected()
	return n == 1, err
}

// ErrTaken is what recording an attempt gives if another daemon has taken the
// delivery over meanwhile.
var ErrTaken = errors.New("another daemon has it in hand")

// ClaimJob takes a job's work for a slot until a moment. It reports false while
// another daemon has it in hand.
func (l *Ledger) ClaimJob(ctx context.Context, site, job, slot, holder string, now, until time.Time) (bool, error) {
	done, err := l.db.ExecContext(ctx, `INSERT INTO job_lease (site, job, slot, holder, held_until) VALUES (?1, ?2, ?3, ?4, ?5)
		ON CONFLICT (site, job, slot) DO UPDATE SET holder = excluded.holder, held_until = excluded.held_until
		WHERE job_lease.held_until < ?6 OR job_lease.holder = ?4`, site, job, slot, holder, stamp(until), stamp(now))
	if err != nil {
		return false, fmt.Errorf("ledger: claim %s of %s: %w", job, site, err)
	}
	n, err := done.RowsAffected()
	return n == 1, err
}

// ForgetLeases lets go of a site's leases that ran out before a moment: nobody goes
// by them any more.
func (l *Ledger) ForgetLeases(ctx context.Context, site string, before time.Time) error {
	if _, err := l.db.ExecContext(ctx, `DELETE FROM job_lease WHERE site = ?1 AND held_until < ?2`, site, stamp(before)); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}
