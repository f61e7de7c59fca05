package engine_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"thawline/alerts/engine"
	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

// does is a worker of a function.
type does struct {
	kind string
	work func(ctx context.Context, j engine.Job) engine.Result
}

func (w does) Kind() string { return w.kind }
func (w does) Work(ctx context.Context, j engine.Job, _ time.Time) engine.Result {
	return w.work(ctx, j)
}

// opener opens a driver of some kind on a database that can be listened to at an address.
type opener struct {
	where string // the database, "" for an empty one
	open  func(ctx context.Context, o engine.Options, listen string) (engine.Driver, error)
}

var local = opener{open: func(ctx context.Context, o engine.Options, _ string) (engine.Driver, error) {
	return engine.OpenLocal(ctx, o)
}}

// clocked is a clock that can be put forward.
type clocked struct{ ahead atomic.Int64 }

func (c *clocked) now() time.Time { return time.Now().Add(time.Duration(c.ahead.Load())) }

// bench is a database and a way to open drivers on it.
type bench struct {
	open   opener
	db     *sql.DB
	pg     bool
	listen string
	clock  clocked
	limit  int
}

func newBench(t *testing.T, open opener) *bench {
	t.Helper()
	where := open.where
	if where == "" {
		where = beside.Where(t, filepath.Join(t.TempDir(), "engine.db"))
	}
	a, err := archive.Open(context.Background(), where)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return &bench{open: open, db: a.DB(), pg: a.Shared(), listen: a.ListenAddress(), limit: 4}
}

func (b *bench) driver(t *testing.T, holder string, work func(ctx context.Context, j engine.Job) engine.Result) engine.Driver {
	t.Helper()
	d, err := b.open.open(context.Background(),
		engine.Options{DB: b.db, Postgres: b.pg, Holder: holder, Clock: b.clock.now, Workers: []engine.Worker{does{"ring", work}},
			Poll: 30 * time.Millisecond,
			Limit: func(queue string) int {
				if queue == "closed" {
					return 0
				}
				return b.limit
			},
			Deadline: func(string) time.Duration { return 300 * time.Millisecond }}, b.listen)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// runs runs a driver until the test ends, or stop is called.
func runs(t *testing.T, d engine.Driver) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(stop)
	return stop
}

func (b *bench) add(t *testing.T, d engine.Driver, commit bool, jobs ...engine.Job) {
	t.Helper()
	tx, err := b.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	for i := range jobs {
		jobs[i].Kind = "ring"
		if jobs[i].At.IsZero() {
			jobs[i].At = b.clock.now()
		}
		if jobs[i].Queue == "" {
			jobs[i].Queue = "q"
		}
	}
	if err := d.EnqueueTx(t.Context(), tx, jobs...); err != nil {
		t.Fatal(err)
	}
	if !commit {
		_ = tx.Rollback()
		return
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	if w, ok := d.(engine.Waker); ok {
		w.Wake()
	}
}

// rung counts what was worked on.
type rung struct {
	mu   sync.Mutex
	keys []string
}

func (r *rung) note(key string) int {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.keys = append(r.keys, key)
	n := 0
	for _, k := range r.keys {
		if k == key {
			n++
		}
	}
	return n
}

func (r *rung) all() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.keys)
}

func eventually(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if done() {
			return
		}
	}
	t.Fatal(what + ": not within ten seconds")
}

// contract is what every driver promises.
var contract = map[string]func(t *testing.T, open opener){
	"what is rolled back never rings, what is committed rings once": func(t *testing.T, open opener) {
		b, r := newBench(t, open), &rung{}
		d := b.driver(t, "a", func(_ context.Context, j engine.Job) engine.Result { r.note(j.Key + j.Args); return engine.Done() })
		b.add(t, d, false, engine.Job{Key: "never"})
		b.add(t, d, true, engine.Job{Key: "once", Args: " args"}, engine.Job{Key: "closed", Queue: "closed"})
		b.add(t, d, true, engine.Job{Key: "once"})
		runs(t, d)
		eventually(t, "the job", func() bool { return len(r.all()) > 0 })
		time.Sleep(100 * time.Millisecond)
		if got := r.all(); !slices.Equal(got, []string{"once args"}) {
			t.Errorf("%q", got)
		}
	},
	"again, cancelled, a panic, a deadline": func(t *testing.T, open opener) {
		b, r := newBench(t, open), &rung{}
		d := b.driver(t, "a", func(ctx context.Context, j engine.Job) engine.Result {
			n := r.note(j.Key)
			switch {
			case j.Key == "again" && n < 3:
				return engine.Again(20*time.Millisecond, errors.New("not yet"))
			case j.Key == "moved" && n == 1:
				return engine.Result{Outcome: engine.IsAgain, Queue: "other"}
			case j.Key == "moved" && j.Queue != "other":
				t.Errorf("in %s after it was moved", j.Queue)
			case j.Key == "cancel":
				return engine.Cancel(errors.New("never"))
			case j.Key == "panic" && n == 1:
				panic("a fault of this job alone")
			case j.Key == "long":
				<-ctx.Done()
			}
			return engine.Done()
		})
		b.add(t, d, true, engine.Job{Key: "panic"}, engine.Job{Key: "again"}, engine.Job{Key: "cancel"}, engine.Job{Key: "long"},
			engine.Job{Key: "moved"})
		runs(t, d)
		eventually(t, "all", func() bool { return d.Status().Ended >= 8 })
		b.clock.ahead.Store(int64(time.Minute)) // the one that panicked has waited by then
		eventually(t, "after the panic", func() bool { return d.Status().Ended >= 9 })
		got := r.all()
		slices.Sort(got)
		if want := []string{"again", "again", "again", "cancel", "long", "moved", "moved", "panic", "panic"}; !slices.Equal(got, want) {
			t.Errorf("%q", got)
		}
	},
	"not before its time, and what is urgent first": func(t *testing.T, open opener) {
		b, r := newBench(t, open), &rung{}
		b.limit = 1
		d := b.driver(t, "a", func(_ context.Context, j engine.Job) engine.Result { r.note(j.Key); return engine.Done() })
		now := b.clock.now()
		b.add(t, d, true, engine.Job{Key: "late", At: now.Add(time.Hour)}, engine.Job{Key: "2", At: now.Add(-2 * time.Second)},
			engine.Job{Key: "1", At: now.Add(-3 * time.Second)}, engine.Job{Key: "becomes urgent", At: now.Add(-time.Second)})
		b.add(t, d, true, engine.Job{Key: "becomes urgent", Urgent: true})
		runs(t, d)
		eventually(t, "three", func() bool { return len(r.all()) == 3 })
		b.clock.ahead.Store(int64(2 * time.Hour))
		eventually(t, "the last", func() bool { return len(r.all()) == 4 })
		if got := r.all(); !slices.Equal(got, []string{"becomes urgent", "1", "2", "late"}) {
			t.Errorf("%q", got)
		}
	},
	"two daemons share, each job is done once": func(t *testing.T, open opener) {
		b, r := newBench(t, open), &rung{}
		var by [2]atomic.Int64
		var drivers []engine.Driver
		for i := range 2 {
			drivers = append(drivers, b.driver(t, fmt.Sprint(i), func(_ context.Context, j engine.Job) engine.Result {
				by[i].Add(1)
				r.note(j.Key)
				time.Sleep(2 * time.Millisecond)
				return engine.Done()
			}))
		}
		var jobs []engine.Job
		for i := range 120 {
			jobs = append(jobs, engine.Job{Key: fmt.Sprint(i)})
		}
		b.add(t, drivers[0], true, jobs...)
		for _, d := range drivers {
			runs(t, d)
		}
		eventually(t, "all", func() bool { return by[0].Load()+by[1].Load() >= 120 })
		got := r.all()
		slices.Sort(got)
		if len(slices.Compact(got)) != 120 || by[0].Load()+by[1].Load() != 120 {
			t.Errorf("%d and %d", by[0].Load(), by[1].Load())
		}
		if min(by[0].Load(), by[1].Load()) < 12 {
			t.Errorf("not shared: %d and %d", by[0].Load(), by[1].Load())
		}
	},
	"what a dead daemon had in hand is done": func(t *testing.T, open opener) {
		for _, heir := range []string{"dead", "another"} { // itself again, or one that waits for the lease
			b, r := newBench(t, open), &rung{}
			hangs := make(chan struct{})
			dead := b.driver(t, "dead", func(_ context.Context, j engine.Job) engine.Result {
				r.note(j.Key)
				<-hangs // until it is forgotten
				return engine.Elsewhere()
			})
			b.add(t, dead, true, engine.Job{Key: "x"})
			ctx, cancel := context.WithCancel(context.Background())
			go func() { _ = dead.Run(ctx) }()
			eventually(t, "begun", func() bool { return len(r.all()) == 1 })
			cancel()
			next := b.driver(t, heir, func(_ context.Context, j engine.Job) engine.Result { r.note(j.Key); return engine.Done() })
			stop := runs(t, next)
			if heir == "another" {
				time.Sleep(100 * time.Millisecond)
				if len(r.all()) != 1 {
					t.Error("taken out of another's hand")
				}
				b.clock.ahead.Store(int64(150 * time.Second))
			}
			eventually(t, "done by "+heir, func() bool { return len(r.all()) == 2 })
			stop()
			close(hangs)
		}
	},
	"jobs without a transaction": func(t *testing.T, open opener) {
		b, r := newBench(t, open), &rung{}
		d := b.driver(t, "a", func(_ context.Context, j engine.Job) engine.Result { r.note(j.Key); return engine.Done() })
		for range 2 {
			if err := d.Enqueue(t.Context(),
				engine.Job{Kind: "ring", Key: "slot", Queue: "q", At: b.clock.now().Add(50 * time.Millisecond)}); err != nil {
				t.Fatal(err)
			}
		}
		runs(t, d)
		eventually(t, "done", func() bool { return d.Status().Ended == 1 })
		time.Sleep(60 * time.Millisecond)
		if got := r.all(); len(got) != 1 {
			t.Errorf("%q", got)
		}
	},
}

func TestLocalKeepsTheContract(t *testing.T) {
	for name, promise := range contract {
		t.Run(name, func(t *testing.T) { promise(t, local) })
	}
}

func TestOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){"local": TestLocalKeepsTheContract, "river": riverKeepsTheContract, "pace": TestPace})
}

func TestPace(t *testing.T) {
	b := newBench(t, local)
	p := engine.Paces{DB: b.db}
	now := time.Date(2026, 3, 1, 18, 30, 0, 0, time.UTC)
	reserve := func(channel string, r engine.Rate, at time.Time) time.Duration {
		t.Helper()
		wait, _, err := p.Reserve(t.Context(), channel, r, time.Hour, at)
		if err != nil {
			t.Fatal(err)
		}
		return wait
	}
	five := engine.Rate{PerSecond: 5, Burst: 2}
	var waits []time.Duration
	for range 5 { // two at once, the others a fifth of a second apart
		waits = append(waits, reserve("text", five, now))
	}
	if want := []time.Duration{0, 0, 200 * time.Millisecond, 400 * time.Millisecond, 600 * time.Millisecond}; !slices.Equal(waits, want) {
		t.Errorf("%v", waits)
	}
	if w := reserve("other", five, now); w != 0 {
		t.Errorf("another channel waits %s", w)
	}
	if err := p.Pause(t.Context(), "text", now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if err := p.Pause(t.Context(), "text", now.Add(time.Second)); err != nil { // a shorter one changes nothing
		t.Fatal(err)
	}
	if w, taken, err := p.Reserve(t.Context(), "text", five, 10*time.Second, now); err != nil || taken || w != time.Minute {
		t.Errorf("%v %v: %s, so long that no place is taken", err, taken, w)
	}
	for range 2 { // the burst behind the pause, then a fifth of a second apart
		if w := reserve("text", five, now); w != time.Minute {
			t.Errorf("%s while it is paused", w)
		}
	}
	if w := reserve("text", five, now); w != time.Minute+200*time.Millisecond {
		t.Errorf("%s while it is paused", w)
	}
	if w := reserve("text", engine.Rate{}, now); w != time.Minute {
		t.Errorf("%s while it is paused, without a rate", w)
	}
	if w := reserve("free", engine.Rate{}, now); w != 0 {
		t.Errorf("%s without a rate", w)
	}
	if w := reserve("text", five, now.Add(2*time.Minute)); w != 0 {
		t.Errorf("%s long after", w)
	}
}

// A machine whose clock is minutes off shows the database's time all the same, and goes on
// showing it when somebody sets the clock.
func TestDatabaseClock(t *testing.T) {
	address := beside.Postgres(t)
	if address == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: its clock is not tried")
	}
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	c, err := engine.OpenClock(t.Context(), db, func() time.Time { return time.Now().Add(5 * time.Minute) })
	if err != nil {
		t.Fatal(err)
	}
	if off := time.Since(c.Now()); off.Abs() > 2*time.Second {
		t.Errorf("%s off the server", off)
	}
}
