package daemon

import (
	"context"
	"fmt"
	"time"

	"thawline/alerts/engine"
)

func due(jobs []*job, now time.Time) bool {
	for _, j := range jobs {
		if !j.next.After(now) && !now.Before(j.again) {
			return true
		}
	}
	return false
}

// catchUp does what is due of a job.
func (d *Daemon) catchUp(ctx context.Context, j *job, now time.Time) {
	for ctx.Err() == nil {
		d.mu.Lock()
		slot, rests := j.next, now.Before(j.again)
		d.mu.Unlock()
		if slot.After(now) || rests {
			return
		}
		if !d.run(ctx, j, slot, now) {
			d.mu.Lock()
			j.again = now.Add(engine.LookAgain)
			d.mu.Unlock()
			return
		}
		next := j.schedule.Next(slot)
		if !next.After(now) && j.catchUp == 0 {
			next = j.schedule.Next(now) // a slot that was slept through is worth nothing
		}
		d.mu.Lock()
		if j.next.Equal(slot) { // else the clock was set back meanwhile
			j.next = next
		}
		d.mu.Unlock()
	}
}

// NextDue is the earliest moment at which a job or a waiting delivery falls due.
func (d *Daemon) NextDue(now time.Time) time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	next := now.Add(24 * time.Hour)
	for _, j := range d.jobs {
		if at := latest(j.next, j.again); at.Before(next) {
			next = at
		}
	}
	return next
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// run does a job's work for a slot, unless it is done or another daemon is at it.
// It reports false if it has to be looked at again.
func (d *Daemon) run(ctx context.Context, j *job, slot, now time.Time) (settled bool) {
	name := slot.UTC().Format(time.RFC3339)
	if j.name == "evening" { // once for each local date, whatever the clocks do
		name = slot.In(j.site.Zone).Format(time.DateOnly)
	}
	once := j.catchUp > 0
	if once {
		late := now.Sub(slot)
		if j.name == "evening" && now.In(j.site.Zone).Format(time.DateOnly) != name {
			// Tomorrow is another day by now: the text speaks as of its own evening, or not
			// at all.
			if now = slot; late > beyondMidnight {
				late = j.catchUp + 1
			}
		}
		if late > j.catchUp {
			d.Log.Warn("too late to be of use, left out", "job", j.name, "site", j.site.ID, "due", slot)
			return true
		}
	}
	ours, done := d.begin(ctx, j, name, once, now)
	switch {
	case done && once:
		d.Metrics.JobDone(j.name, j.site.ID, now) // by another daemon, or before a restart
		return true
	case !ours:
		return !once // another daemon has it in hand; what has to be done is looked at again
	}
	err := d.guarded(ctx, j, slot, now)
	if err != nil && ctx.Err() != nil {
		d.Log.Info("cut short by the end of the program: done at the next start", "job", j.name, "site", j.site.ID)
		return false
	}
	d.mu.Lock()
	if j.fault = ""; err != nil {
		j.fault = err.Error()
	} else {
		j.done = now
	}
	d.mu.Unlock()
	if err != nil {
		d.Log.Error("a job failed", "job", j.name, "site", j.site.ID, "error", err)
		d.Metrics.JobFailed(j.name, j.site.ID)
		return j.name != "evening" // it says itself where there is no weather: this is the ledger's fault
	}
	d.Metrics.JobDone(j.name, j.site.ID, now)
	if once {
		if err := d.Ledger.MarkDone(ctx, j.site.ID, j.name, name, now); err != nil {
			d.Log.Error("the ledger can't be written", "job", j.name, "site", j.site.ID, "error", err)
		}
	}
	return true
}

// begin takes a job's work for a slot, unless another daemon has it in hand or it is done,
// which is asked of what is done once. Where the ledger can't be written it is done all the
// same.
func (d *Daemon) begin(ctx context.Context, j *job, slot string, once bool, now time.Time) (ours, done bool) {
	at := d.clock(now)
	var err error
	if once {
		ours, done, err = d.Ledger.Begin(ctx, j.site.ID, j.name, slot, d.Holder, at, at.Add(jobLease))
	} else {
		ours, err = d.Ledger.ClaimJob(ctx, j.site.ID, j.name, slot, d.Holder, at, at.Add(jobLease))
	}
	if err == nil {
		return ours, done
	}
	d.Log.Error("the ledger can't be written: the job is done all the same", "job", j.name, "site", j.site.ID, "error", err)
	if once {
		if done, err = d.Ledger.Done(ctx, j.site.ID, j.name, slot); err != nil {
			d.Log.Error("the ledger can't be read", "job", j.name, "site", j.site.ID, "error", err)
		}
	}
	return true, done
}

// beyondMidnight is how late an evening text may be on the other side of midnight.
const beyondMidnight = 30 * time.Minute

// jobLease is how long a daemon that does not come back keeps a job from others:
// longer than services take to answer.
const jobLease = 4 * time.Minute

// clock is the moment by which leases run.
func (d *Daemon) clock(now time.Time) time.Time {
	if d.Now != nil {
		return d.Now()
	}
	return now
}

// guarded keeps a panic in one site's job from taking the others down.
func (d *Daemon) guarded(ctx context.Context, j *job, slot, now time.Time) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("panic: %v", r)
		}
	}()
	return j.do(ctx, j.site, slot, now)
}
