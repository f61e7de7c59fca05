package engine

import (
	"container/heap"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"thawline/forecast/archive"
)

// inOneTrip writes what became of jobs of the table, takes those that are due from the
// queues that are known, and looks which fall due next: again where another queue has
// something due. All of it is one question to the database, so that jobs that end often do not
// keep it busy.
func (l *Local) inOneTrip(ctx context.Context, wait *sync.WaitGroup, now time.Time, queues func(string) bool) (next time.Time, again bool) {
	l.mu.Lock()
	ended := l.settled
	l.settled = nil
	var questions []*archive.Question
	for i := range ended {
		questions = append(questions, l.settling(&ended[i]))
	}
	taken := map[string]*ring{}
	for queue := range l.queues {
		if free := l.o.Limit(queue) - l.running[queue]; free > 0 && queues(queue) {
			taken[queue] = &ring{}
			questions = append(questions, l.taking(queue, now, free, taken[queue]))
		}
	}
	l.mu.Unlock()
	next = now.Add(24 * time.Hour)
	fresh := map[string]time.Time{}
	err := archive.Together(ctx, l.o.DB, true, append(questions, looking(now, fresh))...)
	l.mu.Lock()
	defer l.mu.Unlock()
	if err != nil {
		l.settled = append(ended, l.settled...)
		l.failed(ctx, "jobs can't be read, nor what became of them be written", err)
		return now.Add(l.o.Poll), false
	}
	for _, q := range taken {
		for len(q.due) > 0 {
			l.begin(ctx, wait, heap.Pop(q).(entry), now)
		}
	}
	for queue, at := range fresh {
		known := l.queues[queue]
		l.queues[queue] = true
		if l.o.Limit(queue)-l.running[queue] <= 0 || !queues(queue) { // those that end look again
			continue
		}
		again = again || !known && !at.After(now)
		next = earlier(next, at)
	}
	return next, again
}

// fromTable takes due jobs of the table for which there is room and begins them.
func (l *Local) fromTable(ctx context.Context, wait *sync.WaitGroup, now time.Time, queues func(string) bool) (time.Time, error) {
	next, due := now.Add(24*time.Hour), map[string]time.Time{}
	if l.o.DB == nil {
		return next, nil
	}
	if err := archive.Together(ctx, l.o.DB, false, looking(now, due)); err != nil {
		return next, err
	}
	for _, queue := range slices.Sorted(maps.Keys(due)) {
		at := due[queue]
		l.mu.Lock()
		free := l.o.Limit(queue) - l.running[queue]
		l.mu.Unlock()
		switch {
		case free <= 0 || !queues(queue): // those that end look again
			continue
		case at.After(now):
			next = earlier(next, at)
			continue
		}
		var taken ring
		if err := archive.Together(ctx, l.o.DB, false, l.taking(queue, now, free, &taken)); err != nil {
			return next, err
		}
		l.mu.Lock()
		for len(taken.due) > 0 {
			l.begin(ctx, wait, heap.Pop(&taken).(entry), now)
		}
		l.mu.Unlock()
	}
	return next, nil
}

// looking asks when the first job of each queue falls due that nobody has in hand. It goes
// from queue to queue and reads no more of each than its first: thousands may wait behind.
func looking(now time.Time, due map[string]time.Time) *archive.Question {
	return &archive.Question{Query: `WITH RECURSIVE of(queue) AS (SELECT MIN(queue) FROM engine_job
			UNION ALL SELECT (SELECT MIN(j.queue) FROM engine_job j WHERE j.queue > of.queue) FROM of WHERE of.queue IS NOT NULL),
		next(queue, due_at) AS (SELECT queue, (SELECT j.due_at FROM engine_job j WHERE j.queue = of.queue AND j.held_until < ?1
			ORDER BY j.due_at LIMIT 1) FROM of WHERE queue IS NOT NULL)
		SELECT queue, due_at FROM next WHERE due_at IS NOT NULL`,
		Args: []any{stamp(now)}, Read: func(rows *sql.Rows) error {
			var queue, at string
			err := rows.Scan(&queue, &at)
			if err == nil {
				due[queue], err = time.Parse(Instant, at)
			}
			return err
		}}
}

// taking takes due jobs of a queue, the urgent ones first, and then the oldest. The inner
// selections are made once and for all before any row is written: worked out again for each
// row, as a plan may have it, their bounds would be of no effect. Each reads no more of its
// index than it takes: one over both would sort all that is due.
func (l *Local) taking(queue string, now time.Time, most int, into *ring) *archive.Question {
	skip := ""
	if l.o.Postgres {
		skip = "FOR UPDATE SKIP LOCKED"
	}
	of := func(urgent string) string {
		return `(SELECT kind, name, urgent, due_at FROM engine_job WHERE queue = ?1 AND urgent = ` + urgent + ` AND due_at <= ?2 AND held_until < ?2
			ORDER BY due_at, name LIMIT ?5 ` + skip + `)`
	}
	return &archive.Question{Query: `WITH pressing AS MATERIALIZED ` + of("1") + `, other AS MATERIALIZED ` + of("0") + `,
			due AS MATERIALIZED (SELECT kind, name FROM (SELECT * FROM pressing UNION ALL SELECT * FROM other) AS found
				ORDER BY urgent DESC, due_at, name LIMIT ?5)
		UPDATE engine_job SET holder = ?3, held_until = ?4 WHERE (kind, name) IN (SELECT kind, name FROM due)
		RETURNING kind, name, args, due_at, urgent, attempts`, Args: []any{queue, stamp(now), l.o.Holder, stamp(now.Add(lease)), most}, Read: func(rows *sql.Rows) error {
		e := entry{job: Job{Queue: queue}, kept: true}
		var due string
		var urgent int
		if err := rows.Scan(&e.job.Kind, &e.job.Key, &e.job.Args, &due, &urgent, &e.attempts); err != nil {
			return err
		}
		e.job.Urgent = urgent != 0
		var err error
		if e.job.At, err = time.Parse(Instant, due); err == nil {
			heap.Push(into, e)
		}
		return err
	}}
}

// Hasten has jobs of a kind that are due within a while from now on done now, but for those
// that somebody has in hand.
func (l *Local) Hasten(ctx context.Context, kind string, now time.Time, within time.Duration) error {
	if _, err := l.o.DB.ExecContext(ctx, `UPDATE engine_job SET due_at = ?2 WHERE kind = ?1 AND due_at > ?2 AND due_at <= ?3 AND held_until < ?2`,
		kind, stamp(now), stamp(now.Add(within))); err != nil {
		return fmt.Errorf("engine: hasten: %w", err)
	}
	l.Wake()
	return nil
}

// settle writes what became of jobs of the table, in one transaction.
func (l *Local) settle(ctx context.Context) (err error) {
	l.mu.Lock()
	list := l.settled
	l.settled = nil
	l.mu.Unlock()
	if len(list) == 0 {
		return nil
	}
	defer func() {
		if err != nil {
			l.mu.Lock()
			l.settled = append(list, l.settled...)
			l.mu.Unlock()
		}
	}()
	tx, err := l.o.DB.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	for i := range list {
		if q := l.settling(&list[i]); err == nil {
			_, err = tx.ExecContext(ctx, q.Query, q.Args...)
		}
	}
	if err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// settling writes what became of a job of the table.
func (l *Local) settling(s *settled) *archive.Question {
	if s.result.Outcome == IsDone || s.result.Outcome == IsCancelled {
		return &archive.Question{Query: `DELETE FROM engine_job WHERE kind = ?1 AND name = ?2 AND holder = ?3`,
			Args: []any{s.job.Kind, s.job.Key, l.o.Holder}}
	}
	queue := s.job.Queue
	if s.result.Queue != "" {
		queue = s.result.Queue
	}
	tried := 0
	if s.result.Outcome == IsAgain {
		tried = 1
	}
	return &archive.Question{Query: `UPDATE engine_job SET held_until = '', due_at = ?4, queue = ?5, attempts = attempts + ?6 WHERE kind = ?1 AND name = ?2 AND holder = ?3`,
		Args: []any{s.job.Kind, s.job.Key, l.o.Holder, stamp(s.at), queue, tried}}
}
