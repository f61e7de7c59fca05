// Package engine runs jobs: the seam between what is to be done and how it is seen to that
// it is done, by one daemon of several, again after a fault, and after a crash. What
// jobs are about stands elsewhere and is the truth (deliveries in package ledger): a job is
// its alarm clock, may ring twice, and its worker looks first whether there is still
// anything to do.
package engine

import (
	"context"
	"database/sql"
	"time"
)

// Job is one thing to do.
type Job struct {
	Kind   string // says which worker does it
	Key    string // of all jobs of one kind that wait with one key there is one
	Queue  string // what is scarce: jobs of one queue share its workers
	Args   string // for the worker
	At     time.Time
	Urgent bool // ahead of the others of its queue that are due
}

// Enqueuer takes jobs.
type Enqueuer interface {
	// EnqueueTx adds jobs in a transaction: they are there once it is committed, and
	// survive a crash. One that waits already stays as it is, but may become urgent.
	EnqueueTx(ctx context.Context, tx *sql.Tx, jobs ...Job) error
	// Enqueue adds jobs that whoever adds them would add again after a crash, such as
	// those of a schedule.
	Enqueue(ctx context.Context, jobs ...Job) error
}

// Waker is an Enqueuer that wants to hear when a transaction with jobs is committed, so
// that it need not wait until it looks the next time.
type Waker interface{ Wake() }

// Worker does the jobs of a kind.
type Worker interface {
	Kind() string
	// Work does a job as of a moment: that at which it was due, or where that has long
	// passed, at which it was added.
	Work(ctx context.Context, job Job, asOf time.Time) Result
}

// Result is what became of a job.
type Result struct {
	Outcome Outcome
	After   time.Duration // until it is done again
	Queue   string        // in which it goes on, "" for the same
	Err     error         // why, where something failed
}

// Outcome is the kind of a result.
type Outcome int

// The outcomes.
const (
	IsDone      Outcome = iota // there is nothing left to do
	IsAgain                    // it has to be done again after a while
	IsElsewhere                // another daemon has it in hand: it is looked at again
	IsCancelled                // it can't be done and won't be
)

// Done says that nothing is left to do.
func Done() Result { return Result{} }

// Again says that a job has to be done again after a while.
func Again(after time.Duration, err error) Result {
	return Result{Outcome: IsAgain, After: after, Err: err}
}

// Elsewhere says that another daemon has in hand what the job is about.
func Elsewhere() Result { return Result{Outcome: IsElsewhere} }

// Cancel says that a job can't be done.
func Cancel(err error) Result { return Result{Outcome: IsCancelled, Err: err} }

// LookAgain is when a job is looked at again whose matter another daemon has in hand.
const LookAgain = 30 * time.Second

// Driver runs jobs.
type Driver interface {
	Enqueuer
	// Run does jobs as they fall due until the context ends, and waits for those that are
	// being done.
	Run(ctx context.Context) error
	// Status says how far it is.
	Status() Status
}

// Status is how far a driver is.
type Status struct {
	Running map[string]int // jobs that are being done, by queue
	Waiting int            // due jobs that wait for a worker, as far as this daemon knows
	Ended   uint64         // jobs so far, whatever became of them
	Moved   time.Time      // when one began or ended last, by this machine's clock
}

// Options are what a driver is made of.
type Options struct {
	DB       *sql.DB
	Postgres bool
	// Holder names this daemon: the same after a restart, and no other's.
	Holder string
	// Clock is the one by which it is decided who may do what: the database's own in
	// service.
	Clock func() time.Time
	// Workers are asked for by a job's kind; a kind without one is left to other daemons.
	Workers []Worker
	// Limit is how many jobs of a queue may be done at a time, 0 for none here.
	Limit func(queue string) int
	// Deadline is how long a job of a kind may take; nil for a minute.
	Deadline func(kind string) time.Duration
	// Poll is how often jobs of other daemons are looked for.
	Poll time.Duration
	// Fault hears what went wrong; nil for nobody.
	Fault func(what string, err error)
	// Turn picks which of so many jobs that are due is done next, one after another, so that
	// a replay goes as it went before; nil for side by side. Local alone asks it.
	Turn func(of int) int
}

func (o *Options) fault(what string, err error) {
	if o.Fault != nil && err != nil {
		o.Fault(what, err)
	}
}

func (o *Options) deadline(kind string) time.Duration {
	if o.Deadline == nil {
		return time.Minute
	}
	return o.Deadline(kind)
}
