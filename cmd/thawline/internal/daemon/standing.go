package daemon

import (
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
