package daemon

import (
	"context"
	"fmt"
	"slices"
	"time"

	"thawline/forecast"
)

// Sites are the sites of the settings.
func (d *Daemon) Sites() []forecast.Site {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.settings.Sites)
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

const healthDeadline = 5 * time.Second

// Health says whether the daemon steps and every site has an outlook that is
// young enough; "" if all is well.
func (d *Daemon) Health(now time.Time) (alive, ready string) {
	ctx, cancel := context.WithTimeout(context.Background(), healthDeadline)
	defer cancel()
	issued, err := d.Archive.OutlooksIssued(ctx)
	if err != nil {
		ready = err.Error() + "\n"
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if now.Sub(d.lastStep) > 10*time.Minute {
		alive = fmt.Sprintf("the last step was at %s", d.lastStep.UTC().Format(time.RFC3339))
	}
	for i := range d.settings.Sites {
		id := d.settings.Sites[i].ID
		switch at, known := issued[id]; {
		case err != nil:
		case !known:
			ready += id + ": no outlook yet\n"
		case now.Sub(at) > 24*time.Hour:
			ready += fmt.Sprintf("%s: weather of %s\n", id, at.Format(time.RFC3339))
		}
	}
	if d.fault != "" {
		ready += "settings: " + d.fault + "\n"
	}
	return alive, ready
}
