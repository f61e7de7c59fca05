package engine

import (
	"context"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/rivertype"
)

// River is the driver of riverqueue.com, for several machines on one PostgreSQL. Jobs of a
// transaction lie in its tables; those that every daemon adds by its schedule lie in
// memory, as Local has them.
type River struct {
	o       Options
	memory  *Local
	client  *river.Client[*sql.Tx]
	listens *pgxpool.Pool // nil where it only polls
	id      string
	queues  map[string]int // those that are worked at, with how many workers

	ended, moved atomic.Int64

	mu   sync.Mutex
	hand map[int64]bool // jobs that are being done here, by their ids
}

// What River goes by. A rescue counts as an attempt; who is rescued is decided by daemons'
// heartbeats, long before River's own rescuer would.
const (
	riverCooldown  = 50 * time.Millisecond
	riverPoll      = time.Second
	riverAttempts  = 1000
	riverRescue    = 15 * time.Minute
	riverRetention = 24 * time.Hour
	riverStop      = 50 * time.Second
	// riverLook is when a job is looked at again whose matter another daemon has in hand:
	// soon, so that with rescue and fence a dead daemon delays a message by 150 s at most.
	riverLook = 10 * time.Second
)

// riverJob is a job as River keeps it.
type riverJob struct {
	Of   string `json:"of" river:"unique"`
	Key  string `json:"key" river:"unique"`
	Args string `json:"args"`
	// Queue as it is called here: River's names are narrower.
	Queue string `json:"queue"`
}

func (riverJob) Kind() string { return "thawline" }

// live are the states of jobs of which there is one by kind and key. What has come to its
// end may be set again: that is how a delivery whose job was lost gets a new one.
var live = []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable,
	rivertype.JobStateRunning, rivertype.JobStateScheduled}

// OpenRiver makes a driver on a PostgreSQL database that has River's tables. listen is the
// address of the database for a connection that hears of jobs at once; with "" it only
// looks for them, as it has to behind PgBouncer. Run takes back the jobs that this daemon
// had in hand when it ended.
func OpenRiver(ctx context.Context, o Options, listen string) (*River, error) {
	r := &River{o: o, queues: map[string]int{}, hand: map[int64]bool{}, id: riverID(o.Holder)}
	memory := o
	memory.DB = nil
	r.memory = newLocal(memory)
	workers := river.NewWorkers()
	if err := river.AddWorkerSafely(workers, riverWorker{r: r}); err != nil {
		return nil, fmt.Errorf("engine: river: %w", err)
	}
	driver := riverdatabasesql.New(o.DB)
	if listen != "" {
		c, err := pgxpool.ParseConfig(listen)
		if err != nil {
			return nil, errors.New("engine: river: the database's address is not one")
		}
		c.MaxConns = 1
		if r.listens, err = pgxpool.NewWithConfig(ctx, c); err != nil {
			return nil, fmt.Errorf("engine: river: %w", err)
		}
		driver = riverdatabasesql.NewWithPgxListener(o.DB, r.listens)
	}
	var err error
	r.client, err = river.NewClient(driver, &river.Config{
		ID: r.id, Workers: workers, Test: river.TestConfig{Time: riverTime{o.Clock}},
		// River wants one queue to begin with; the others are opened as jobs come.
		Queues:        map[string]river.QueueConfig{"idle": {MaxWorkers: 1, FetchCooldown: time.Minute, FetchPollInterval: time.Hour}},
		FetchCooldown: riverCooldown, FetchPollInterval: riverPoll, PollOnly: listen == "",
		JobTimeout: time.Minute, MaxAttempts: riverAttempts, RescueStuckJobsAfter: riverRescue, RetryPolicy: riverRetry{o.Clock},
		CompletedJobRetentionPeriod: riverRetention, CancelledJobRetentionPeriod: riverRetention,
		DiscardedJobRetentionPeriod: riverRetention,
		SoftStopTimeout:             riverStop, Logger: slog.New(riverFaults{o: &r.o}), ErrorHandler: riverFaults{o: &r.o},
	})
	if err != nil {
		return nil, fmt.Errorf("engine: river: %w", err)
	}
	return r, nil
}

// riverTime is the one clock, for River: every moment in its SQL is this one's.
type riverTime struct{ clock func() time.Time }

// Now is the clock's time.
func (t riverTime) Now() time.Time { return t.clock() }

// NowOrNil is Now, never nil: with nil some statements would take the server's time and
// others this machine's.
func (t riverTime) NowOrNil() *time.Time {
	now := t.clock().UTC()
	return &now
}

// riverID is a name that River takes, the same after a restart.
func riverID(holder string) string {
	sum := fnv.New128a()
	_, _ = sum.Write([]byte(holder))
	return "thawline-" + hex.EncodeToString(sum.Sum(nil))
}

// riverQueue is a name for a queue that River takes.
func riverQueue(name string) string {
	sum := fnv.New64a()
	_, _ = sum.Write([]byte(name))
	plain := strings.Map(func(c rune) rune {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' {
			return c
		}
		return -1
	}, name)
	return "q" + plain[:min(len(plain), 30)] + "-" + hex.EncodeToString(sum.Sum(nil))
}

// Memory is the part that does what lies in memory.
func (r *River) Memory() *Local { return r.memory }

// Enqueue is that of Enqueuer.
func (r *River) Enqueue(ctx context.Context, jobs ...Job) error {
	return r.memory.Enqueue(ctx, jobs...)
}

// EnqueueTx is that of Enqueuer.
func (r *River) EnqueueTx(ctx context.Context, tx *sql.Tx, jobs ...Job) error {
	if len(jobs) == 0 {
		return nil
	}
	list := make([]river.InsertManyParams, len(jobs))
	for i := range jobs {
		j := &jobs[i]
		opts := &river.InsertOpts{Queue: riverQueue(j.Queue), Priority: 2, ScheduledAt: j.At,
			UniqueOpts: river.UniqueOpts{ByArgs: true, ByState: live}}
		if j.Urgent {
			opts.Priority = 1
		}
		list[i] = river.InsertManyParams{Args: riverJob{Of: j.Kind, Key: j.Key, Args: j.Args, Queue: j.Queue}, InsertOpts: opts}
	}
	made, err := r.client.InsertManyTx(ctx, tx, list)
	if err != nil {
		return fmt.Errorf("engine: river: %w", err)
	}
	for i, m := range made {
		if m.UniqueSkippedAsDuplicate && jobs[i].Urgent {
			if _, err := tx.ExecContext(ctx, `UPDATE river_job SET priority = 1 WHERE id = ?1`, m.Job.ID); err != nil {
				return fmt.Errorf("engine: river: %w", err)
			}
		}
	}
	return nil
}

// Status is that of Driver.
func (r *River) Status() Status {
	s := r.memory.Status()
	s.Ended += uint64(max(r.ended.Load(), 0))
	r.mu.Lock()
	s.Running["river"] = len(r.hand)
	r.mu.Unlock()
	if moved := time.UnixMicro(r.moved.Load()); moved.After(s.Moved) {
		s.Moved = moved
	}
	return s
}

// riverWorker hands River's jobs to the workers.
type riverWorker struct {
	river.WorkerDefaults[riverJob]
	r *River
}

// Timeout is that of a kind of job.
func (w riverWorker) Timeout(j *river.Job[riverJob]) time.Duration { return w.r.o.deadline(j.Args.Of) }

// Work does one.
func (w riverWorker) Work(ctx context.Context, j *river.Job[riverJob]) error {
	w.r.inHand(j.ID, true)
	defer func() {
		w.r.inHand(j.ID, false)
		w.r.ended.Add(1)
	}()
	e := entry{job: Job{Kind: j.Args.Of, Key: j.Args.Key, Queue: j.Args.Queue, Args: j.Args.Args, At: j.ScheduledAt,
		Urgent: j.Priority == 1}, attempts: tried(j.JobRow), kept: true}
	result := w.r.memory.work(ctx, &e, w.r.o.Clock())
	if result.Outcome == IsCancelled || result.Err != nil {
		w.r.o.fault("a job of kind "+e.job.Kind, result.Err)
	}
	switch result.Outcome {
	case IsCancelled:
		return river.JobCancel(result.Err)
	case IsElsewhere:
		return river.JobSnooze(riverLook)
	case IsAgain:
		if result.Queue != "" && result.Queue != e.job.Queue {
			if _, err := w.r.o.DB.ExecContext(ctx,
				`UPDATE river_job SET queue = ?2, args = jsonb_set(args, '{queue}', to_jsonb(CAST(?3 AS TEXT))) WHERE id = ?1`, j.ID,
				riverQueue(result.Queue), result.Queue); err != nil {
				return err
			}
		}
		return river.JobSnooze(max(result.After, 0))
	}
	return nil
}

// inHand notes that a job is being done here, or no longer.
func (r *River) inHand(id int64, has bool) {
	r.moved.Store(time.Now().UnixMicro()) //nolint:forbidigo // how long nothing moves is measured, nobody decides by it
	r.mu.Lock()
	defer r.mu.Unlock()
	if has {
		r.hand[id] = true
	} else {
		delete(r.hand, id)
	}
}

// tried is how often a job has been begun before: River counts those that were put off
// apart from those that failed.
func tried(j *rivertype.JobRow) int {
	var off struct {
		Snoozes int `json:"snoozes"`
	}
	_ = json.Unmarshal(j.Metadata, &off) // River's own
	return off.Snoozes + j.Attempt - 1
}

// riverRetry is for faults of River's own: what a worker wants again it says itself.
type riverRetry struct{ clock func() time.Time }

// NextRetry waits longer each time.
func (t riverRetry) NextRetry(j *rivertype.JobRow) time.Time {
	return t.clock().UTC().Add(BackOff(j.Attempt, fmt.Sprint(j.ID)))
}
