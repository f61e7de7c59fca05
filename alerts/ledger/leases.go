package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"thawline/forecast/archive"
)

// Several daemons may share a database. What one has in hand the others leave
// alone, until its lease has run out: then it is taken to have died or stalled.
// A daemon that comes back under its own name goes on at once.

// Take takes a delivery for a holder until a moment, right before it is sent, and reads it:
// the fence of every way in which deliveries come to be sent. now is the clock by which
// leases run. It gives ErrNone where there is nothing of that id; what is not waiting,
// carried by another one or not due yet is read and not taken, as its State, GoesWith
// and NextAt say; and ErrTaken while another daemon has it in hand. What else sending it needs is
// read with it.
func (l *Ledger) Take(ctx context.Context, id, holder string, now, until time.Time) (v Delivery, taken bool, err error) {
	var rows, with []Delivery
	var tried []Attempt
	silenced, changes := 0, int64(0)
	err = archive.Together(ctx, l.db, l.trips,
		&archive.Question{Query: `UPDATE delivery AS v SET holder = ?2, held_until = ?4 WHERE v.id = ?1 AND v.state = 'waiting' AND v.next_at <= ?3 AND (v.held_until < ?3 OR v.holder = ?2) AND ` + byItself + `
		RETURNING id, person, words, state, channel, attempts, next_at, sent_at, acked_at, urgent,
			(SELECT d.site FROM decision d WHERE d.id = decision_id), (SELECT d.kind FROM decision d WHERE d.id = decision_id), (SELECT d.made_at FROM decision d WHERE d.id = decision_id), (SELECT d.useful_to FROM decision d WHERE d.id = decision_id),
			decision_id, goes_with, texted, spoken`, Args: []any{id, holder, stamp(now), stamp(until)}, Read: readDeliveries(&rows)},
		&archive.Question{Query: carriedBy, Args: []any{id}, Read: readDeliveries(&with)},
		attemptsOf(id, &tried),
		&archive.Question{Query: `SELECT (SELECT COUNT(*) FROM person_stopped s WHERE s.person = v.person) + (SELECT COUNT(*) FROM person_paused p WHERE p.person = v.person AND p.until > ?2),
			(SELECT COALESCE(MAX(c.number), 0) FROM site_changes c JOIN decision d ON d.site = c.site WHERE d.id = v.decision_id) FROM delivery v WHERE v.id = ?1`,
			Args: []any{id, stamp(now)}, Read: func(rows *sql.Rows) error { return rows.Scan(&silenced, &changes) }})
	if err != nil {
		return v, false, fmt.Errorf("ledger: take %s: %w", id, err)
	}
	if len(rows) == 1 {
		v = rows[0]
		v.GoesWith = "" // what carried it has come to its end
		v.Carried, v.Tried, v.Silenced, v.Changes = with, tried, silenced > 0, changes
		return v, true, nil
	}
	rows, err = l.list(ctx, `SELECT `+deliveryColumns+` WHERE v.id = ?1`, id)
	if err != nil {
		return v, false, fmt.Errorf("take %s: %w", id, err)
	}
	if len(rows) == 0 {
		return v, false, ErrNone
	}
	v = rows[0]
	if v.State == Waiting && v.GoesWith == "" && !v.NextAt.After(now) {
		return v, false, ErrTaken
	}
	return v, false, nil
}

// ErrTaken is what taking a delivery gives while another daemon has it in hand, and
// recording an attempt if one has taken it over meanwhile.
var ErrTaken = errors.New("another daemon has it in hand")

// Begin takes a job's work for a slot until a moment, and says whether it is done already,
// by whomever; then, and while another daemon has it in hand, it is not taken.
func (l *Ledger) Begin(ctx context.Context, site, job, slot, holder string, now, until time.Time) (taken, done bool, err error) {
	var n int
	err = archive.Together(ctx, l.db, l.trips,
		&archive.Question{Query: claimJob + ` RETURNING 1`, Args: []any{site, job, slot, holder, stamp(until), stamp(now)},
			Read: func(*sql.Rows) error { taken = true; return nil }},
		&archive.Question{Query: jobDone, Args: []any{site, job, slot}, Read: func(rows *sql.Rows) error { return rows.Scan(&n) }})
	if err != nil {
		return false, false, fmt.Errorf("ledger: begin %s of %s: %w", job, site, err)
	}
	return taken && n == 0, n > 0, nil
}

const claimJob = `INSERT INTO job_lease (site, job, slot, holder, held_until) VALUES (?1, ?2, ?3, ?4, ?5)
		ON CONFLICT (site, job, slot) DO UPDATE SET holder = excluded.holder, held_until = excluded.held_until
		WHERE job_lease.held_until < ?6 OR job_lease.holder = ?4`

// ClaimJob takes a job's work for a slot until a moment. It reports false while
// another daemon has it in hand.
func (l *Ledger) ClaimJob(ctx context.Context, site, job, slot, holder string, now, until time.Time) (bool, error) {
	done, err := l.db.ExecContext(ctx, claimJob, site, job, slot, holder, stamp(until), stamp(now))
	if err != nil {
		return false, fmt.Errorf("ledger: claim %s of %s: %w", job, site, err)
	}
	n, err := done.RowsAffected()
	return n == 1, err
}

// LetGo lets go of all that a holder had in hand when it ended, so that whoever comes first
// goes on with it: for its own next start, before it takes anything.
func (l *Ledger) LetGo(ctx context.Context, holder string) error {
	for _, q := range []string{`UPDATE delivery SET held_until = '' WHERE state = 'waiting' AND holder = ?1 AND held_until <> ''`,
		`DELETE FROM job_lease WHERE holder = ?1`} {
		if _, err := l.db.ExecContext(ctx, q, holder); err != nil {
			return fmt.Errorf("ledger: let go: %w", err)
		}
	}
	return nil
}

// ForgetLeases lets go of a site's leases that ran out before a moment: nobody goes
// by them any more.
func (l *Ledger) ForgetLeases(ctx context.Context, site string, before time.Time) error {
	if _, err := l.db.ExecContext(ctx, `DELETE FROM job_lease WHERE site = ?1 AND held_until < ?2`, site, stamp(before)); err != nil {
		return fmt.Errorf("ledger: %w", err)
	}
	return nil
}
