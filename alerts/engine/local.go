package engine

import (
	"container/heap"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"sync"
	"time"
)

// lease is how long a daemon that does not come back keeps a job from others: longer than
// a job of the shorter kinds takes. One that takes longer is fenced by what it is about.
const lease = 2 * time.Minute

// gather is how long a pass waits for others to end or begin, so that one transaction
// serves all.
const gather = 10 * time.Millisecond

// Local is the small driver of our own. Jobs of Enqueue lie in its memory, those of
// EnqueueTx in a table that several daemons may share. It may be run, or told step by step
// what time it is.
type Local struct {
	o Options

	mu      sync.Mutex
	memory  map[string]*ring // by queue
	known   map[string]bool  // jobs of the memory that wait or are being done
	running map[string]int
	settled []settled // what became of jobs of the table, not written yet
	ended   uint64
	moved   time.Time
	awake   chan struct{}
	serial  uint64
}

// entry is a job that waits or is being done.
type entry struct {
	job      Job
	attempts int
	kept     bool // in the table
	serial   uint64
}

type settled struct {
	entry
	result Result
	at     time.Time
}

// OpenLocal makes a driver, and takes back the jobs that this daemon had in hand when it
// ended.
func OpenLocal(ctx context.Context, o Options) (*Local, error) {
	l := newLocal(o)
	if _, err := o.DB.ExecContext(ctx, `UPDATE engine_job SET held_until = '' WHERE holder = ?1 AND held_until <> ''`, o.Holder); err != nil {
		return l, fmt.Errorf("engine: take back: %w", err)
	}
	return l, nil
}

// newLocal makes one of the memory alone where no database is named.
func newLocal(o Options) *Local {
	return &Local{o: o, memory: map[string]*ring{}, known: map[string]bool{}, running: map[string]int{}, awake: make(chan struct{}, 1)}
}

// Enqueue is that of Enqueuer: jobs lie in memory.
func (l *Local) Enqueue(_ context.Context, jobs ...Job) error {
	if len(jobs) == 0 {
		return nil
	}
	l.mu.Lock()
	for _, j := range jobs {
		l.add(entry{job: j})
	}
	l.mu.Unlock()
	l.Wake()
	return nil
}

func (l *Local) add(e entry) {
	name := e.job.Kind + "\x00" + e.job.Key
	if l.known[name] {
		return
	}
	l.known[name] = true
	l.push(e)
}

func (l *Local) push(e entry) {
	l.serial++
	e.serial = l.serial
	q := l.memory[e.job.Queue]
	if q == nil {
		q = &ring{}
		l.memory[e.job.Queue] = q
	}
	q.later = append(q.later, e)
}

// EnqueueTx is that of Enqueuer.
func (l *Local) EnqueueTx(ctx context.Context, tx *sql.Tx, jobs ...Job) error {
	for i := range jobs {
		j := &jobs[i]
		urgent := 0
		if j.Urgent {
			urgent = 1
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO engine_job (kind, name, queue, args, due_at, urgent) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
			ON CONFLICT (kind, name) DO UPDATE SET urgent = 1 WHERE excluded.urgent > engine_job.urgent`, j.Kind, j.Key, j.Queue, j.Args, stamp(j.At), urgent); err != nil {
			return fmt.Errorf("engine: add %s %s: %w", j.Kind, j.Key, err)
		}
	}
	return nil
}

// Wake is that of Waker.
func (l *Local) Wake() {
	select {
	case l.awake <- struct{}{}:
	default:
	}
}

// Status is that of Driver.
func (l *Local) Status() Status {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := Status{Running: maps.Clone(l.running), Ended: l.ended, Moved: l.moved}
	for _, q := range l.memory {
		s.Waiting += len(q.due)
	}
	return s
}

// Run is that of Driver.
func (l *Local) Run(ctx context.Context) error {
	var wait sync.WaitGroup
	for ctx.Err() == nil {
		next := l.begun(ctx, &wait, l.o.Clock(), every)
		select {
		case <-ctx.Done():
		case <-l.awake:
			pause(ctx, gather)
		case <-time.After(min(max(next.Sub(l.o.Clock()), gather), l.o.Poll)):
		}
	}
	wait.Wait()
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	return l.settle(ctx)
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

func every(string) bool { return true }

// Drain does the jobs that are due at a moment and those that they add for it, in queues
// that may be told apart, until none is left: for replays and tests.
func (l *Local) Drain(ctx context.Context, now time.Time, queues func(queue string) bool) {
	var wait sync.WaitGroup
	for ctx.Err() == nil {
		before, _, begun := l.busy() // who is at work now may add more after the look
		l.begun(ctx, &wait, now, queues)
		busy, left, after := l.busy()
		if busy > 0 {
			<-l.awake
			continue
		}
		if before > 0 || after > begun {
			continue
		}
		if left == 0 {
			break
		}
		if err := l.settle(ctx); err != nil {
			l.o.fault("what became of jobs is not written", err)
			break
		}
	}
	wait.Wait()
}

// busy counts the jobs that are being done, those of which it is not written yet what
// became of them, and all that were ever begun.
func (l *Local) busy() (working, left int, begun uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, n := range l.running {
		working += n
	}
	return working, len(l.settled), l.ended + uint64(working)
}

// begun begins what is due in queues and says when to look again.
func (l *Local) begun(ctx context.Context, wait *sync.WaitGroup, now time.Time, queues func(string) bool) time.Time {
	next := l.fromMemory(ctx, wait, now, queues)
	if err := l.settle(ctx); err != nil {
		l.o.fault("what became of jobs is not written", err)
		return now.Add(l.o.Poll)
	}
	soon, err := l.fromTable(ctx, wait, now, queues)
	if err != nil {
		l.o.fault("jobs can't be read", err)
		return now.Add(l.o.Poll)
	}
	if soon.Before(next) {
		next = soon
	}
	return next
}

// fromMemory begins the due jobs of the memory for which there is room, and says when the
// next falls due.
func (l *Local) fromMemory(ctx context.Context, wait *sync.WaitGroup, now time.Time, queues func(string) bool) time.Time {
	next := now.Add(24 * time.Hour)
	l.mu.Lock()
	defer l.mu.Unlock()
	for name, q := range l.memory {
		at := q.ripen(now)
		if !at.IsZero() && at.Before(next) {
			next = at
		}
		if !queues(name) {
			continue
		}
		for room := l.o.Limit(name) - l.running[name]; room > 0 && len(q.due) > 0; room-- {
			l.begin(ctx, wait, heap.Pop(q).(entry), now)
		}
	}
	return next
}

// fromTable takes due jobs of the table for which there is room and begins them.
func (l *Local) fromTable(ctx context.Context, wait *sync.WaitGroup, now time.Time, queues func(string) bool) (time.Time, error) {
	next := now.Add(24 * time.Hour)
	if l.o.DB == nil {
		return next, nil
	}
	rows, err := l.o.DB.QueryContext(ctx, `SELECT queue, MIN(due_at) FROM engine_job WHERE held_until < ?1 GROUP BY queue`, stamp(now))
	if err != nil {
		return next, err
	}
	defer rows.Close()
	room := map[string]int{}
	for rows.Next() {
		var queue, due string
		if err := rows.Scan(&queue, &due); err != nil {
			return next, err
		}
		at, err := time.Parse(Instant, due)
		if err != nil {
			return next, err
		}
		l.mu.Lock()
		free := l.o.Limit(queue) - l.running[queue]
		l.mu.Unlock()
		switch {
		case free <= 0 || !queues(queue): // those that end look again
		case at.After(now):
			if at.Before(next) {
				next = at
			}
		default:
			room[queue] = free
		}
	}
	if err := rows.Err(); err != nil {
		return next, err
	}
	rows.Close()
	for queue, free := range room {
		taken, err := l.take(ctx, queue, now, free)
		if err != nil {
			return next, err
		}
		l.mu.Lock()
		for _, e := range taken {
			l.begin(ctx, wait, e, now)
		}
		l.mu.Unlock()
	}
	return next, nil
}

// take takes due jobs of a queue, the urgent ones first, and then the oldest. The inner
// selection is made once and for all before any row is written: worked out again for each
// row, as a plan may have it, its bound would be of no effect.
func (l *Local) take(ctx context.Context, queue string, now time.Time, most int) ([]entry, error) {
	skip := ""
	if l.o.Postgres {
		skip = "FOR UPDATE SKIP LOCKED"
	}
	rows, err := l.o.DB.QueryContext(ctx, `WITH due AS MATERIALIZED (SELECT kind, name FROM engine_job WHERE queue = ?1 AND due_at <= ?2 AND held_until < ?2
			ORDER BY urgent DESC, due_at, name LIMIT ?5 `+skip+`)
		UPDATE engine_job SET holder = ?3, held_until = ?4 WHERE (kind, name) IN (SELECT kind, name FROM due)
		RETURNING kind, name, args, due_at, urgent, attempts`, queue, stamp(now), l.o.Holder, stamp(now.Add(lease)), most)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out ring
	for rows.Next() {
		e := entry{job: Job{Queue: queue}, kept: true}
		var due string
		var urgent int
		if err := rows.Scan(&e.job.Kind, &e.job.Key, &e.job.Args, &due, &urgent, &e.attempts); err != nil {
			return nil, err
		}
		e.job.Urgent = urgent != 0
		if e.job.At, err = time.Parse(Instant, due); err != nil {
			return nil, err
		}
		heap.Push(&out, e)
	}
	var list []entry
	for len(out.due) > 0 {
		list = append(list, heap.Pop(&out).(entry))
	}
	return list, rows.Err()
}

// begin does a job beside others. The lock is held.
func (l *Local) begin(ctx context.Context, wait *sync.WaitGroup, e entry, now time.Time) {
	l.running[e.job.Queue]++
	l.moved = time.Now() //nolint:forbidigo // how long nothing moves is measured, nobody decides by it
	wait.Go(func() {
		r := l.work(ctx, &e, now)
		l.end(e, r, now)
	})
}

// work does a job within its deadline; a panic is a fault of this job alone.
func (l *Local) work(ctx context.Context, e *entry, now time.Time) (r Result) {
	defer func() {
		if p := recover(); p != nil {
			r = Again(BackOff(e.attempts+1, e.job.Key), fmt.Errorf("panic: %v", p))
		}
	}()
	for _, w := range l.o.Workers {
		if w.Kind() == e.job.Kind {
			ctx, cancel := context.WithTimeout(ctx, l.o.deadline(e.job.Kind))
			defer cancel()
			asOf := e.job.At
			if asOf.IsZero() || asOf.After(now) || e.kept && now.Sub(asOf) > lease {
				asOf = now
			}
			return w.Work(ctx, e.job, asOf)
		}
	}
	return Again(LookAgain, errors.New("no worker for jobs of kind "+e.job.Kind))
}

// end notes what became of a job and makes room for the next.
func (l *Local) end(e entry, r Result, now time.Time) {
	if r.Outcome == IsElsewhere {
		r.After = LookAgain
	}
	if r.Outcome == IsCancelled || r.Err != nil {
		l.o.fault("a job of kind "+e.job.Kind, r.Err)
	}
	l.mu.Lock()
	l.running[e.job.Queue]--
	l.ended++
	l.moved = time.Now() //nolint:forbidigo // as above
	again := r.Outcome == IsAgain || r.Outcome == IsElsewhere
	at := now
	if l.o.Clock != nil && l.o.Clock().After(at) {
		at = l.o.Clock()
	}
	switch {
	case e.kept:
		l.settled = append(l.settled, settled{e, r, at.Add(r.After)})
	case again:
		e.job.At = at.Add(r.After)
		e.attempts++
		if r.Queue != "" {
			e.job.Queue = r.Queue
		}
		l.push(e)
	default:
		delete(l.known, e.job.Kind+"\x00"+e.job.Key)
	}
	l.mu.Unlock()
	l.Wake()
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
		s := &list[i]
		if s.result.Outcome == IsDone || s.result.Outcome == IsCancelled {
			_, err = tx.ExecContext(ctx, `DELETE FROM engine_job WHERE kind = ?1 AND name = ?2 AND holder = ?3`, s.job.Kind, s.job.Key, l.o.Holder)
		} else {
			queue := s.job.Queue
			if s.result.Queue != "" {
				queue = s.result.Queue
			}
			tried := 0
			if s.result.Outcome == IsAgain {
				tried = 1
			}
			_, err = tx.ExecContext(ctx, `UPDATE engine_job SET held_until = '', due_at = ?4, queue = ?5, attempts = attempts + ?6 WHERE kind = ?1 AND name = ?2 AND holder = ?3`,
				s.job.Kind, s.job.Key, l.o.Holder, stamp(s.at), queue, tried)
		}
		if err != nil {
			return errors.Join(err, tx.Rollback())
		}
	}
	return tx.Commit()
}
