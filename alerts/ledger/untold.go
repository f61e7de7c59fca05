package ledger

import (
	"context"
	"fmt"
	"time"
)

// Untold is somebody who was not told something: the newest of it.
type Untold struct {
	Person, Site string
	Kind         string
	State        State // Waiting where it is overdue
	MadeAt       time.Time
	Said         string // what the last attempt was answered, "" without one
	More         int    // how many others, older or of the same message
}

// overdue is how long a message may wait for its turn.
const overdue = 15 * time.Minute

// Untold lists those whom messages since a moment did not reach, each once and the newest
// first: that no channel takes, that came too late, that quiet hours outlasted, and those that
// wait for longer than they should; and how many people there are in all. Those whom no message
// reaches are not among them: they are known beforehand.
func (l *Ledger) Untold(ctx context.Context, since, now time.Time, most int) (list []Untold, all int, err error) {
	const where = ` FROM delivery v JOIN decision d ON d.id = v.decision_id WHERE d.made_at > ?1 AND (v.state IN ('expired', 'held') OR v.state = 'failed' AND v.attempts > 0 OR v.state = 'waiting' AND v.next_at < ?2)`
	if err := l.db.QueryRowContext(ctx, `SELECT COUNT(DISTINCT v.person)`+where, stamp(since), stamp(now.Add(-overdue))).Scan(&all); err != nil {
		return nil, 0, fmt.Errorf("ledger: %w", err)
	}
	rows, err := l.db.QueryContext(ctx, `SELECT person, site, kind, state, made_at, COALESCE((SELECT a.channel || ': ' || a.said FROM attempt a WHERE a.delivery_id = u.id ORDER BY a.number DESC LIMIT 1), ''), others
		FROM (SELECT v.id, v.person, d.site, d.kind, v.state, d.made_at, ROW_NUMBER() OVER (PARTITION BY v.person ORDER BY d.made_at DESC, v.goes_with, v.id) AS nth, COUNT(*) OVER (PARTITION BY v.person) - 1 AS others`+where+`) u
		WHERE nth = 1 ORDER BY made_at DESC, person LIMIT ?3`, stamp(since), stamp(now.Add(-overdue)), most)
	if err != nil {
		return nil, 0, fmt.Errorf("ledger: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var u Untold
		var made string
		if err := rows.Scan(&u.Person, &u.Site, &u.Kind, &u.State, &made, &u.Said, &u.More); err != nil {
			return nil, 0, fmt.Errorf("ledger: %w", err)
		}
		u.MadeAt = unstamp(made)
		list = append(list, u)
	}
	return list, all, rows.Err()
}

// Queue is how many messages a queue holds.
type Queue struct {
	Name         string
	Waiting, Due int
}

// Queues are those in which jobs are, by name.
func (l *Ledger) Queues(ctx context.Context, now time.Time) ([]Queue, error) {
	rows, err := l.db.QueryContext(ctx, `SELECT queue, COUNT(*), SUM(CASE WHEN due_at <= ?1 THEN 1 ELSE 0 END) FROM engine_job GROUP BY queue ORDER BY queue`, stamp(now))
	if err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	defer rows.Close()
	var out []Queue
	for rows.Next() {
		var q Queue
		if err := rows.Scan(&q.Name, &q.Waiting, &q.Due); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
		out = append(out, q)
	}
	return out, rows.Err()
}

// Silent are the people who want no messages at a moment, and whether they only pause.
func (l *Ledger) Silent(ctx context.Context, now time.Time) (map[string]bool, error) {
	rows, err := l.db.QueryContext(ctx, `SELECT person, 1 FROM person_paused WHERE until > ?1 UNION ALL SELECT person, 0 FROM person_stopped`, stamp(now))
	if err != nil {
		return nil, fmt.Errorf("ledger: %w", err)
	}
	defer rows.Close()
	out := map[string]bool{}
	for rows.Next() {
		var person string
		var pauses int
		if err := rows.Scan(&person, &pauses); err != nil {
			return nil, fmt.Errorf("ledger: %w", err)
		}
		out[person] = pauses == 1
	}
	return out, rows.Err()
}
