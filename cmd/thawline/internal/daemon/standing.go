package daemon

import (
	"context"
	"fmt"
	"slices"
	"time"

	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// Sites are the sites of the settings.
func (d *Daemon) Sites() []forecast.Site {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.listed)
}

// Voice is what says the evening aloud.
func (d *Daemon) Voice() voice.Options {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.settings.Voice
}

// Reader is the usual one, in another language where one is named.
func (d *Daemon) Reader(language string) message.Reader {
	d.mu.Lock()
	defer d.mu.Unlock()
	r := d.settings.Usual
	if language != "" {
		r.Language = language
	}
	return r
}

// LeftOut says what is wrong in the files of sites that are left out.
func (d *Daemon) LeftOut() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.settings.LeftOut)
}

// Standing is how one job of a site stands.
type Standing struct {
	Site, Job string
	Next      time.Time
	Done      time.Time // zero: not yet
	Fault     string    // of the last time, "" if it went well
}

// Standings are how all jobs stand, and what is wrong with the settings, "" if
// they are good.
func (d *Daemon) Standings() (jobs []Standing, fault string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, j := range d.jobs {
		jobs = append(jobs, Standing{Site: j.site.ID, Job: j.name, Next: j.next, Done: j.done, Fault: j.fault})
	}
	return jobs, d.fault
}

// Alive says whether the daemon steps; "" if it does.
func (d *Daemon) Alive(now time.Time) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if now.Sub(d.lastStep) > 10*time.Minute {
		return fmt.Sprintf("the last step was at %s", d.lastStep.UTC().Format(time.RFC3339))
	}
	return ""
}

// healthDeadline is how long the records may take to be read and written.
const healthDeadline = 5 * time.Second

// Ready says whether the records can be written, every site has an outlook that is
// young enough, and the settings are good; "" if all is well.
func (d *Daemon) Ready(ctx context.Context, now time.Time) (faults string) {
	ctx, cancel := context.WithTimeout(ctx, healthDeadline)
	defer cancel()
	if err := d.tryWriting(ctx, now); err != nil {
		faults = err.Error() + "\n"
	}
	issued, err := d.Archive.OutlooksIssued(ctx)
	if err != nil {
		faults += err.Error() + "\n"
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range d.settings.Sites {
		id := d.settings.Sites[i].ID
		switch at, known := issued[id]; {
		case err != nil:
		case !known:
			faults += id + ": no outlook yet\n"
		case now.Sub(at) > 24*time.Hour:
			faults += fmt.Sprintf("%s: weather of %s\n", id, at.Format(time.RFC3339))
		}
	}
	if d.fault != "" {
		faults += "settings: " + d.fault + "\n"
	}
	return faults
}

// tryEvery is how often figures try to write while that goes well: flash wears.
const tryEvery = time.Minute

// figuresDeadline is short of what Prometheus waits for an answer (ten seconds).
const figuresDeadline = 3 * time.Second

// StorageFault says why the records can't be written, "" if they can.
func (d *Daemon) StorageFault(ctx context.Context, now time.Time) hooks.StorageFault {
	d.mu.Lock()
	fresh := !d.wrote.IsZero() && now.Sub(d.wrote).Abs() < tryEvery
	d.mu.Unlock()
	if fresh {
		return ""
	}
	ctx, cancel := context.WithTimeout(ctx, figuresDeadline)
	defer cancel()
	err := d.tryWriting(ctx, now)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.wrote = now; err == nil {
		return ""
	}
	d.wrote = time.Time{}
	if archive.DiskFull(err) {
		return hooks.DiskFull
	}
	return hooks.Unreachable
}

// tryWriting writes to the records. SQLite may wait for another program for longer
// than whoever asks does: the try goes on then, and those who ask meanwhile share it.
func (d *Daemon) tryWriting(ctx context.Context, now time.Time) error {
	tried := d.writing.DoChan("", func() (any, error) {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), healthDeadline)
		defer cancel()
		return nil, d.Archive.TryWriting(ctx, now)
	})
	select {
	case r := <-tried:
		return r.Err
	case <-ctx.Done():
		return fmt.Errorf("write to %s: no answer within %s; does another program hold it?", d.Archive.Path(), healthDeadline)
	}
}
