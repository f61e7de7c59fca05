package engine

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// What goes on beside River's own work, by the clock that all daemons share.
const (
	heartbeat   = 10 * time.Second // of each daemon
	rescueEvery = 30 * time.Second // what dead daemons had in hand is given to others
	deadAfter   = 90 * time.Second // without a heartbeat
	lostEvery   = 5 * time.Second  // jobs whose handing over was cut off are taken back
	// soonDue is how early a job may be put where River looks for it: it is not begun
	// before its time.
	soonDue = 5 * time.Second
	// stepDeadline is how long one of these may take.
	stepDeadline = 10 * time.Second
)

// Run is that of Driver.
func (r *River) Run(ctx context.Context) error {
	inMemory := make(chan error, 1)
	go func() { inMemory <- r.memory.Run(ctx) }()
	started := r.start(ctx)
	last := map[string]time.Time{}
	every := func(what string, span time.Duration, do func(context.Context) error) {
		if now := r.o.Clock(); now.Sub(last[what]).Abs() >= span {
			last[what] = now
			_ = r.step(ctx, what, do)
		}
	}
	for ctx.Err() == nil {
		every("this daemon's heartbeat is not heard", heartbeat, r.beat)
		every("what dead daemons had in hand waits", rescueEvery, r.rescue)
		every("what was cut off on its way here waits", lostEvery, r.findLost)
		_ = r.step(ctx, "a queue is not worked at", r.open)
		pause(ctx, r.o.Poll)
	}
	err := <-inMemory
	if started {
		stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), riverStop+stepDeadline)
		defer cancel()
		err = errors.Join(err, r.client.Stop(stopping))
	}
	if r.listens != nil {
		r.listens.Close()
	}
	return err
}

// start takes back what this daemon had in hand and lets River begin, as soon as there is a
// database. It reports false if the context ended before.
func (r *River) start(ctx context.Context) bool {
	for ctx.Err() == nil {
		err := r.step(ctx, "work is not begun", func(ctx context.Context) error { return errors.Join(r.beat(ctx), r.takeBack(ctx)) })
		if err == nil {
			// It is stopped below, and softly: what is on its way is sent.
			if err = r.client.Start(context.WithoutCancel(ctx)); err == nil {
				return true
			}
			r.o.fault("work is not begun", err)
		}
		pause(ctx, r.o.Poll)
	}
	return false
}

// step does one thing beside River's work.
func (r *River) step(ctx context.Context, what string, do func(context.Context) error) error {
	doing, cancel := context.WithTimeout(ctx, stepDeadline)
	defer cancel()
	err := do(doing)
	if ctx.Err() == nil {
		r.o.fault(what, err)
	}
	return err
}

// beat says that this daemon lives.
func (r *River) beat(ctx context.Context) error {
	_, err := r.o.DB.ExecContext(ctx, `INSERT INTO engine_daemon (name, seen_ms) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET seen_ms = excluded.seen_ms`, r.id, r.o.Clock().UnixMilli())
	return err
}

// takeBack makes what this daemon had in hand when it ended due again. What it had taken in
// the ledger is its own still.
func (r *River) takeBack(ctx context.Context) error {
	_, err := r.o.DB.ExecContext(ctx, `UPDATE river_job SET state = 'available', scheduled_at = CAST(?2 AS TIMESTAMPTZ) WHERE state = 'running' AND attempted_by[array_upper(attempted_by, 1)] = ?1`, r.id, r.o.Clock().UTC())
	return err
}

// findLost makes due again what the tables say this daemon has in hand and it has not: the
// database went away between giving a job and saying so. One that was done and is not
// noted yet may ring once more.
func (r *River) findLost(ctx context.Context) error {
	now := r.o.Clock()
	r.mu.Lock()
	hand := slices.Collect(maps.Keys(r.hand))
	r.mu.Unlock()
	_, err := r.o.DB.ExecContext(ctx, `UPDATE river_job SET state = 'available', scheduled_at = CAST(?2 AS TIMESTAMPTZ) WHERE state = 'running' AND attempted_by[array_upper(attempted_by, 1)] = ?1
		AND attempted_at < CAST(?3 AS TIMESTAMPTZ) AND id <> ALL (CAST(?4 AS BIGINT[]))`, r.id, now.UTC(), now.Add(-lostEvery).UTC(), hand)
	return err
}

// rescue gives others what a daemon had in hand whose heart has stopped, and forgets those
// that have long been gone.
func (r *River) rescue(ctx context.Context) error {
	now := r.o.Clock()
	if _, err := r.o.DB.ExecContext(ctx,
		`UPDATE river_job SET state = 'available', scheduled_at = CAST(?2 AS TIMESTAMPTZ) WHERE state = 'running' AND NOT EXISTS
		(SELECT 1 FROM engine_daemon d WHERE d.name = attempted_by[array_upper(attempted_by, 1)] AND d.seen_ms > ?1)`, now.Add(-deadAfter).UnixMilli(), now.UTC()); err != nil {
		return err
	}
	_, err := r.o.DB.ExecContext(ctx, `DELETE FROM engine_daemon WHERE seen_ms < ?1`, now.Add(-riverRetention).UnixMilli())
	return err
}

// open lets what falls due soon be seen, begins to work at queues that have jobs, and lets
// go of those at which nothing may be done for now. River's own scheduler does the first
// every five seconds, and only while there is a leader.
func (r *River) open(ctx context.Context) error {
	rows, err := r.o.DB.QueryContext(ctx, `WITH RECURSIVE due AS MATERIALIZED (
			SELECT id FROM river_job WHERE state IN ('scheduled', 'retryable') AND scheduled_at <= CAST(?1 AS TIMESTAMPTZ) FOR UPDATE SKIP LOCKED),
		ripe AS (UPDATE river_job SET state = 'available' WHERE id IN (SELECT id FROM due) RETURNING args->>'queue' AS name),
		each AS (
			(SELECT queue, args->>'queue' AS name FROM river_job WHERE state = 'available' ORDER BY queue LIMIT 1)
			UNION ALL SELECT next.queue, next.name FROM each, LATERAL
				(SELECT j.queue, j.args->>'queue' AS name FROM river_job j WHERE j.state = 'available' AND j.queue > each.queue ORDER BY j.queue LIMIT 1) next)
		SELECT name FROM each UNION SELECT name FROM ripe`, r.o.Clock().Add(soonDue).UTC())
	if err != nil {
		return err
	}
	defer rows.Close()
	waiting := map[string]bool{}
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return err
		}
		waiting[name] = true
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	return r.tune(ctx, waiting)
}

// tune gives each queue as many workers as it may have.
func (r *River) tune(ctx context.Context, waiting map[string]bool) error {
	var faults []error
	for name, has := range r.queues {
		if most := r.o.Limit(name); most == has {
			continue
		}
		// It stops looking for jobs at once; what is being done may go on beyond this.
		removing, cancel := context.WithTimeout(ctx, riverCooldown)
		err := r.client.Queues().Remove(removing, riverQueue(name))
		cancel()
		if err == nil {
			delete(r.queues, name)
		} else if !errors.Is(err, context.DeadlineExceeded) {
			faults = append(faults, err)
		}
	}
	for name := range waiting {
		most := r.o.Limit(name)
		if _, open := r.queues[name]; open || most <= 0 {
			continue
		}
		err := r.client.Queues().Add(riverQueue(name), river.QueueConfig{MaxWorkers: most})
		if err == nil {
			r.queues[name] = most
			continue
		}
		_ = r.client.Queues().Remove(ctx, riverQueue(name)) // it was not begun: it is tried anew
		faults = append(faults, err)
	}
	return errors.Join(faults...)
}

// riverFaults hears what went wrong with a job, and what River would log.
type riverFaults struct {
	o   *Options
	err string
}

// HandleError is that of River's.
func (f riverFaults) HandleError(_ context.Context, _ *rivertype.JobRow, err error) *river.ErrorHandlerResult {
	f.o.fault("river", err)
	return nil
}

// HandlePanic is that of River's.
func (f riverFaults) HandlePanic(_ context.Context, _ *rivertype.JobRow, p any, _ string) *river.ErrorHandlerResult {
	f.o.fault("river", fmt.Errorf("panic: %v", p))
	return nil
}

// Enabled leaves out what is no fault.
func (f riverFaults) Enabled(_ context.Context, level slog.Level) bool {
	return level >= slog.LevelError
}

// Handle tells of a fault.
func (f riverFaults) Handle(_ context.Context, m slog.Record) error {
	said := f.err
	m.Attrs(func(a slog.Attr) bool {
		if a.Key == "err" || a.Key == "error" {
			said = a.Value.String()
		}
		return true
	})
	f.o.fault("river: "+m.Message, errors.New(said))
	return nil
}

// WithAttrs keeps what they say of a fault.
func (f riverFaults) WithAttrs(list []slog.Attr) slog.Handler {
	for _, a := range list {
		if a.Key == "err" || a.Key == "error" {
			f.err = a.Value.String()
		}
	}
	return f
}

// WithGroup makes no difference.
func (f riverFaults) WithGroup(string) slog.Handler { return f }
