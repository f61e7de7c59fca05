package daemon

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"time"

	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/forecast/weather/source"
)

// The kinds of work that a daemon may be kept to: to ask for the weather of a cell, to make
// outlooks and decide, and to deliver.
const (
	Fetch   = "fetch"
	Outlook = "outlook"
	Deliver = ledger.Deliver
)

// Kinds are all of them.
func Kinds() []string { return []string{Fetch, Outlook, Deliver} }

// The queues: one for weather, one for the sites' own work with the evening's lane beside
// it, one for what is done for all, and one for each channel.
const (
	weatherQueue = "weather"
	eveningQueue = "evening"
	sitesQueue   = "sites"
	houseQueue   = "house"
	outboxOf     = "to/" // and the channel
)

func isOutbox(queue string) bool { return strings.HasPrefix(queue, outboxOf) }

const (
	fetchers     = 16              // questions to weather services at a time
	mostAtHand   = 250             // sites whose weather is at hand and whose work waits for its turn
	longDeadline = 5 * time.Minute // for outlooks and cells
	// Jobs of other daemons are looked for this often; alone, only what other programs on
	// the machine wrote is.
	pollShared, pollAlone = time.Second, time.Minute
	// Urgent messages that nobody answers, and jobs that were lost, are looked for this
	// often.
	houseEvery = time.Minute
)

// openEngine makes the driver, once. The lock is held.
func (d *Daemon) openEngine(now time.Time) error {
	if d.driver != nil {
		return nil
	}
	d.busy = map[string]bool{}
	d.at(now)
	poll := pollAlone
	if d.Archive.Shared() {
		poll = pollShared
	}
	o := engine.Options{DB: d.Archive.DB(), Postgres: d.Archive.Shared(), Holder: d.Holder, Clock: d.engineClock, Poll: poll,
		Limit: d.limit,
		Workers: []engine.Worker{worker{Fetch, d.fetchCell}, worker{Outlook, d.siteWork}, worker{Deliver, d.deliverOne},
			worker{houseQueue, d.houseWork},
			worker{eyesJob, d.eyesWork}},
		Deadline: func(kind string) time.Duration {
			if kind == Deliver {
				return time.Minute
			}
			return longDeadline
		},
		Fault: d.complain, Turn: d.turn}
	ctx, cancel := context.WithTimeout(context.Background(), healthDeadline)
	defer cancel()
	if d.Holder != "" {
		if err := d.Ledger.LetGo(ctx, d.Holder); err != nil {
			d.Log.Error("what this daemon had in hand waits for its lease", "error", err)
		}
	}
	if d.River && o.Postgres {
		r, err := engine.OpenRiver(ctx, o, d.ListenAt)
		if err != nil {
			return err
		}
		d.driver, d.local = r, r.Memory()
	} else {
		var err error
		if d.local, err = engine.OpenLocal(ctx, o); err != nil {
			d.Log.Error("what this daemon had in hand waits for its lease", "error", err)
		}
		d.driver = d.local
	}
	d.Ledger.Ring(d.driver, d.outboxOf)
	d.outbox().Ring(d.driver, d.outboxOf)
	return nil
}

// engineClock is the clock by which jobs fall due. One that stands still, as in a replay,
// shows the moment at which the messages of a step are due.
func (d *Daemon) engineClock() time.Time {
	if d.Now != nil {
		return d.Now()
	}
	return d.moment().Add(ledger.JoinWithin)
}

// complain tells of a fault of the engine: of one that goes on, once a minute.
func (d *Daemon) complain(what string, err error) {
	last, said := d.complained.Load(what)
	if now := time.Now(); !said || now.Sub(last.(time.Time)) >= time.Minute {
		d.complained.Store(what, now)
		d.Log.Error(what+": tried again", "error", err)
	}
}

// worker is a function that does the jobs of a kind.
type worker struct {
	kind string
	do   func(ctx context.Context, j engine.Job, asOf time.Time) engine.Result
}

func (w worker) Kind() string { return w.kind }

func (w worker) Work(ctx context.Context, j engine.Job, asOf time.Time) engine.Result {
	return w.do(ctx, j, asOf)
}

// limit is how many jobs of a queue are done here at a time.
func (d *Daemon) limit(queue string) int {
	switch queue {
	case weatherQueue:
		if d.atHand.Load() > mostAtHand {
			return 0 // until what is at hand is worked on: more would have to be read again
		}
		return fetchers
	case eveningQueue, sitesQueue: // most of the time they wait for services and the database
		return max(Many, 4*runtime.GOMAXPROCS(0))
	case houseQueue:
		return 1
	}
	if !d.does(Deliver) {
		return 0
	}
	id := strings.TrimPrefix(queue, outboxOf)
	if until, paused := d.paused.Load(id); paused && d.clock(d.moment()).Before(until.(time.Time)) {
		return 0
	}
	return d.pacing(id).Senders
}

// does reports whether work of a kind is done here.
func (d *Daemon) does(kind string) bool { return d.Work == nil || slices.Contains(d.Work, kind) }

// at notes the moment of a step.
func (d *Daemon) at(now time.Time) { d.stepped.Store(now.UnixMicro()) }

func (d *Daemon) moment() time.Time { return time.UnixMicro(d.stepped.Load()).UTC() }

// leastJump is how far a clock must be set back for it to matter.
const leastJump = time.Minute

// plan gives the engine the work of the sites that have something due: those of one cell
// once its weather is at hand. It asks nobody and waits for nothing.
func (d *Daemon) plan(ctx context.Context, now time.Time) {
	d.mu.Lock()
	if now.Before(d.lastPlan.Add(-leastJump)) { // the clock was wrong before, or is now
		d.Log.Warn("the clock was set back: what is due is looked up anew", "from", d.lastPlan, "to", now)
		for _, j := range d.jobs {
			j.next, j.again = j.schedule.Next(now.Add(-j.catchUp)), time.Time{}
		}
	}
	d.lastPlan = now
	jobs := d.dueJobs(now)
	d.mu.Unlock()
	if err := d.local.Enqueue(ctx, jobs...); err != nil {
		d.Log.Error("work is not begun", "error", err)
	}
}

// dueJobs are the jobs of what is due. The lock is held.
func (d *Daemon) dueJobs(now time.Time) (jobs []engine.Job) {
	many := len(d.settings.Sites) > Many
	cells := map[string]int{} // where the job of a cell stands
	n := len(d.settings.Sites)
	for i := range n {
		// Daemons that share the work begin in different places.
		site := &d.settings.Sites[(i+int(spread(d.Holder)))%n]
		own := d.bySite[site.ID]
		if d.busy[site.ID] || !due(own, now) || !d.does(Outlook) && !d.does(Fetch) {
			continue
		}
		d.busy[site.ID] = true
		evening, asks := false, false
		for _, j := range own {
			if !j.next.After(now) {
				evening = evening || j.name == "evening"
				asks = asks || j.asks()
			}
		}
		if !d.does(Outlook) && !asks {
			d.pass(site.ID, now)
			continue
		}
		if asks && (many || !d.does(Outlook)) {
			cell := source.CellOf(site.Place)
			at, known := cells[cell]
			if !known {
				at = len(jobs)
				cells[cell] = at
				jobs = append(jobs, engine.Job{Kind: Fetch, Key: cell + " " + now.UTC().Format(engine.Instant), Queue: weatherQueue,
					At: now})
			}
			jobs[at].Args += site.ID + "\n"
			jobs[at].Urgent = jobs[at].Urgent || evening
			continue
		}
		jobs = append(jobs, siteJob(site.ID, now, evening))
	}
	return apart(jobs)
}

// rowsAtOnce is how many rows of neighbours are asked for at a time.
const rowsAtOnce = 4

// apart puts the questions for cells in such an order that those that follow each other lie
// as far apart as a service takes neighbours in one question: each asks for those behind it
// as well. Only a few rows are begun at a time, so that what they bring is still in memory
// when the sites come to it.
func apart(jobs []engine.Job) []engine.Job {
	var fetches, out []engine.Job
	for i := range jobs {
		if jobs[i].Kind == Fetch {
			fetches = append(fetches, jobs[i])
		} else {
			out = append(out, jobs[i])
		}
	}
	for block := range slices.Chunk(fetches, rowsAtOnce*source.BatchCells) {
		for first := range min(source.BatchCells, len(block)) {
			for i := first; i < len(block); i += source.BatchCells {
				out = append(out, block[i])
			}
		}
	}
	return out
}

// asks reports whether a job needs weather.
func (j *job) asks() bool {
	return j.name == "refresh" || j.name == "morning" || j.name == "evening" || j.name == "weather"
}

func siteJob(site string, at time.Time, evening bool) engine.Job {
	j := engine.Job{Kind: Outlook, Key: site, Queue: sitesQueue, Args: site, At: at, Urgent: evening}
	if evening {
		j.Queue = eveningQueue
	}
	return j
}

// fetchCell asks for the weather of a cell, so that it is at hand for the sites in it,
// whose work follows. A cell that hangs keeps nobody else waiting.
func (d *Daemon) fetchCell(ctx context.Context, j engine.Job, asOf time.Time) engine.Result {
	ids := strings.Fields(j.Args)
	d.mu.Lock()
	site, asker := d.sites[ids[0]], d.settings.Asker
	d.mu.Unlock()
	if site != nil {
		if _, err := asker.Ask(ctx, site, asOf); err != nil && ctx.Err() == nil {
			d.Log.Info("no weather for a cell", "cell", source.CellOf(site.Place), "error", err)
		}
	}
	var next []engine.Job
	for _, id := range ids {
		if !d.does(Outlook) {
			d.rest(id, asOf)
			continue
		}
		if _, waits := d.fetched.LoadOrStore(id, true); !waits {
			d.atHand.Add(1)
		}
		next = append(next, siteJob(id, asOf, j.Urgent))
	}
	if err := d.local.Enqueue(ctx, next...); err != nil {
		return engine.Again(engine.LookAgain, err)
	}
	return engine.Done()
}

// siteWork does what is due for a site, one thing after the other.
func (d *Daemon) siteWork(ctx context.Context, j engine.Job, asOf time.Time) engine.Result {
	defer func() {
		if _, waited := d.fetched.LoadAndDelete(j.Args); waited {
			d.atHand.Add(-1)
		}
		d.mu.Lock()
		delete(d.busy, j.Args)
		rests := len(d.busy) == 0
		d.mu.Unlock()
		if rests {
			d.hasten(ctx)
		}
	}()
	d.mu.Lock()
	own := d.bySite[j.Args]
	d.mu.Unlock()
	if j.Urgent {
		ctx = ofEvening(ctx)
	}
	ctx = context.WithValue(ctx, lookedKey{}, &looked{})
	for _, one := range own {
		d.catchUp(ctx, one, asOf)
	}
	return engine.Done()
}

// hasten has messages sent at once, once all that was due at this moment is decided. Daemons
// that share a database, and steps, let them wait: others may still decide something.
func (d *Daemon) hasten(ctx context.Context) {
	if d.Now == nil || d.Archive.Shared() {
		return
	}
	if err := d.Ledger.Hasten(ctx, d.Now()); err != nil && ctx.Err() == nil {
		d.Log.Warn("messages go a moment later", "error", err)
	}
}

// rest lets the slots of a site pass that are only asked for here.
func (d *Daemon) rest(id string, now time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.pass(id, now)
}

// pass is rest where the lock is held.
func (d *Daemon) pass(id string, now time.Time) {
	delete(d.busy, id)
	for _, j := range d.bySite[id] {
		if !j.next.After(now) {
			j.next = j.schedule.Next(now)
		}
	}
}

// houseWork does what is done for all sites together.
func (d *Daemon) houseWork(ctx context.Context, _ engine.Job, asOf time.Time) engine.Result {
	d.overviews(ctx, asOf)
	d.escalate(ctx, asOf)
	d.ringAgain(ctx, asOf)
	return engine.Done()
}

// Plan begins what is due at a moment and does not wait for it; Run does it. It reports
// whether work moves on: false where something hangs.
func (d *Daemon) Plan(ctx context.Context, now time.Time) (moves bool) {
	d.at(now)
	d.plan(ctx, now)
	d.mu.Lock()
	late := now.Sub(d.housed).Abs() >= houseEvery
	if late {
		d.housed = now
	}
	d.mu.Unlock()
	if late && (d.does(Outlook) || d.does(Deliver)) {
		if err := d.local.Enqueue(ctx, engine.Job{Kind: houseQueue, Key: houseQueue, Queue: houseQueue, At: now}); err != nil {
			d.Log.Error("work is not begun", "error", err)
		}
	}
	if moves = d.moves(); moves {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.lastStep = now
	}
	return moves
}

// moves reports whether jobs begin or end, or there is none. One that takes as long as it
// may is no hang.
func (d *Daemon) moves() bool {
	s := d.driver.Status()
	for _, n := range s.Running {
		if n > 0 {
			return time.Since(s.Moved) < longDeadline+time.Minute
		}
	}
	return true
}

// Run does what Plan begins, and delivers, until the context ends.
func (d *Daemon) Run(ctx context.Context) error {
	if err := d.driver.Run(ctx); err != nil {
		return fmt.Errorf("what became of the last work is not written: %w", err)
	}
	return nil
}
