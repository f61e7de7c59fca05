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
	trips   bool            // a pass over the table is one round trip
	queues  map[string]bool // of the table, as far as they are known
	turns   []func()        // jobs that wait for theirs, where one is done after another
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
	if _, err := o.DB.ExecContext(ctx, `UPDATE engine_job SET held_until = '' WHERE holder = ?1 AND held_until <> ''`,
		o.Holder); err != nil {
		return l, fmt.Errorf("engine: take back: %w", err)
	}
	return l, nil
}

// newLocal makes one of the memory alone where no database is named.
func newLocal(o Options) *Local {
	return &Local{o: o, memory: map[string]*ring{}, known: map[string]bool{}, running: map[string]int{}, awake: make(chan struct{}, 1),
		queues: map[string]bool{}, trips: o.DB != nil && archive.Trips(o.DB)}
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
	defer l.takeTurns()
	next := l.fromMemory(ctx, wait, now, queues)
	if l.trips {
		soon, again := l.inOneTrip(ctx, wait, now, queues)
		if again {
			soon, _ = l.inOneTrip(ctx, wait, now, queues)
		}
		return earlier(next, soon)
	}
	if err := l.settle(ctx); err != nil {
		l.failed(ctx, "what became of jobs is not written", err)
		return now.Add(l.o.Poll)
	}
	soon, err := l.fromTable(ctx, wait, now, queues)
	if err != nil {
		l.failed(ctx, "jobs can't be read", err)
		return now.Add(l.o.Poll)
	}
	return earlier(next, soon)
}

// failed tells of a fault, unless the end of the program made it.
func (l *Local) failed(ctx context.Context, what string, err error) {
	if ctx.Err() == nil {
		l.o.fault(what, err)
	}
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// fromMemory begins the due jobs of the memory for which there is room, and says when the
// next falls due.
func (l *Local) fromMemory(ctx context.Context, wait *sync.WaitGroup, now time.Time, queues func(string) bool) time.Time {
	next := now.Add(24 * time.Hour)
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, name := range slices.Sorted(maps.Keys(l.memory)) {
		q := l.memory[name]
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

// begin does a job beside others, or when its turn comes. The lock is held.
func (l *Local) begin(ctx context.Context, wait *sync.WaitGroup, e entry, now time.Time) {
	l.running[e.job.Queue]++
	l.moved = time.Now() //nolint:forbidigo // how long nothing moves is measured, nobody decides by it
	do := func() {
		r := l.work(ctx, &e, now)
		l.end(e, r, now)
	}
	if l.o.Turn != nil {
		l.turns = append(l.turns, do)
		return
	}
	wait.Go(do)
}

// takeTurns does the jobs that wait for their turn.
func (l *Local) takeTurns() {
	for {
		l.mu.Lock()
		if len(l.turns) == 0 {
			l.mu.Unlock()
			return
		}
		k := l.o.Turn(len(l.turns))
		do := l.turns[k]
		l.turns = slices.Delete(l.turns, k, k+1)
		l.mu.Unlock()
		do()
	}
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
