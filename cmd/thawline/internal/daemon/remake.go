package daemon

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"thawline/alerts"
	"thawline/forecast"
)

// remakes is what outlooks are made again from when records are written, and which writes
// they know of: by site the number of writes, as the archive counts them.
type remakes struct {
	mu      sync.Mutex
	making  map[string]*sync.Mutex
	answers map[string]*forecast.Inputs // the newest weather of each site; of no more than Many
	made    map[string]int64            // that the newest outlook knows of
	since   map[string]time.Time        // the moment of the first outlook that knew of them
	tried   map[string]int64            // that were gone into, even in vain
	writes  int64                       // of all sites that were gone into
	settled chan struct{}               // closed when made or tried change; nil while nobody remakes
}

// seen reports whether so many writes were gone into already, and takes them as seen.
func (r *remakes) seen(writes int64) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	known := r.settled != nil && r.writes == writes
	r.writes = writes
	return known
}

// hold keeps the weather of a site in memory, where sites are few: neighbours share
// theirs elsewhere.
func (r *remakes) hold(site string, a *forecast.Inputs) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.answers == nil {
		r.answers = map[string]*forecast.Inputs{}
	}
	if _, known := r.answers[site]; known || len(r.answers) < Many {
		r.answers[site] = a
	}
}

func (r *remakes) answer(site string) *forecast.Inputs {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.answers[site]
}

// begin waits until nobody else makes an outlook of a site, and gives what ends the turn.
func (r *remakes) begin(site string) (end func()) {
	r.mu.Lock()
	if r.making == nil {
		r.making = map[string]*sync.Mutex{}
	}
	own := r.making[site]
	if own == nil {
		own = &sync.Mutex{}
		r.making[site] = own
	}
	r.mu.Unlock()
	own.Lock()
	return own.Unlock
}

// note says which writes of a site were gone into, and whether an outlook knows of them.
func (r *remakes) note(site string, n int64, made bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.made == nil {
		r.made, r.tried = map[string]int64{}, map[string]int64{}
	}
	r.tried[site] = max(r.tried[site], n)
	if made {
		r.made[site] = max(r.made[site], n)
	}
	if r.settled != nil {
		close(r.settled)
		r.settled = make(chan struct{})
	}
}

// knows notes that the outlook of a moment knows of n writes to the records of a site.
func (r *remakes) knows(site string, n int64, at time.Time) {
	r.mu.Lock()
	if r.since == nil {
		r.since = map[string]time.Time{}
	}
	if _, known := r.since[site]; !known || n > r.made[site] {
		r.since[site] = at
	}
	r.mu.Unlock()
	r.note(site, n, true)
}

// still reports whether nothing was recorded of a site since a decision of a moment was
// made, where n writes are known now.
func (r *remakes) still(site string, n int64, at time.Time) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	since, known := r.since[site]
	return known && r.made[site] == n && !since.After(at)
}

// news lists the sites with writes that were not gone into. The first call takes those of
// sites without an outlook as known: their first look reads them.
func (r *remakes) news(changes map[string]int64) (sites []string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	first := r.settled == nil
	if first {
		r.settled = make(chan struct{})
	}
	if r.made == nil {
		r.made, r.tried = map[string]int64{}, map[string]int64{}
	}
	for site, n := range changes {
		if _, known := r.made[site]; !known && first {
			r.made[site], r.tried[site] = n, n
		}
		if r.tried[site] < n {
			sites = append(sites, site)
		}
	}
	return sites
}

// wait waits until an outlook of a site knows of n writes, or there is no use in waiting.
func (r *remakes) wait(ctx context.Context, site string, n int64) {
	for ctx.Err() == nil {
		r.mu.Lock()
		settled, done := r.settled, r.tried[site] >= n
		r.mu.Unlock()
		if done || settled == nil {
			return
		}
		select {
		case <-ctx.Done():
		case <-settled:
		}
	}
}

// Remake makes the outlooks again of the sites whose records were written since the last
// call, by this program or another on this machine, from the weather that is at hand,
// and decides what people must know. The first call only looks how things stand.
func (d *Daemon) Remake(ctx context.Context, now time.Time) {
	if !d.does(Outlook) {
		return
	}
	together, err := d.Archive.ChangesTogether(ctx)
	if err == nil && d.remakes.seen(together) {
		return
	}
	changes, err := d.Archive.Changes(ctx)
	if err != nil {
		d.remakes.seen(-1)
		if ctx.Err() == nil {
			d.Log.Error("what was recorded can't be seen: outlooks follow with the next weather", "error", err)
		}
		return
	}
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for _, id := range d.remakes.news(changes) {
		d.mu.Lock()
		site := d.sites[id]
		d.mu.Unlock()
		if site == nil {
			d.remakes.note(id, changes[id], false)
			continue
		}
		group.Go(func() error {
			if err := d.remake(ctx, site, now); err != nil {
				d.remakes.note(id, changes[id], false)
				if ctx.Err() == nil {
					d.Log.Error("the outlook was not made again after a record", "site", site.ID, "error", err)
				}
			}
			return nil
		})
	}
	_ = group.Wait()
}

func (d *Daemon) remake(ctx context.Context, site *forecast.Site, now time.Time) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("panic: %v", r)
		}
	}()
	answer := d.remakes.answer(site.ID)
	if answer == nil {
		fresh, err := d.ask(ctx, site, now)
		if err != nil {
			return err
		}
		answer = &fresh
	}
	o, err := d.makeOutlook(ctx, site, answer, now, false)
	if err != nil {
		return err
	}
	return d.decideAndPublish(ctx, site, o, alerts.Moment{Now: now})
}

// remadeWithin is how long whoever asks for an outlook waits for one that knows of what
// was just written down.
const remadeWithin = 2 * time.Second

// settled waits, while outlooks are made again, until that of a site knows of all its
// records.
func (d *Daemon) settled(ctx context.Context, site string) {
	ctx, cancel := context.WithTimeout(ctx, remadeWithin)
	defer cancel()
	if n, err := d.Archive.ChangesOf(ctx, site); err == nil {
		d.remakes.wait(ctx, site, n)
	}
}

// Behind reports whether the outlook of a site does not know of all its records, which is
// so for a moment after one was written, and where it could not be made again.
func (d *Daemon) Behind(ctx context.Context, site string) bool {
	n, err := d.Archive.ChangesOf(ctx, site)
	if err != nil {
		return false // whoever reads the records says so
	}
	d.remakes.mu.Lock()
	defer d.remakes.mu.Unlock()
	made, known := d.remakes.made[site]
	return known && made < n
}
