// Package daemon watches sugarbushes: it asks for weather, decides what people
// need to know, and sees to it that they are told once. It runs on a clock that
// is passed in, step by step, so that a season can be replayed.
package daemon

import (
	"context"
	"log/slog"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/singleflight"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/inbound"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather"
)

// Asker gets the newest weather of a site: from services, or the last good one.
type Asker interface {
	Ask(ctx context.Context, site *forecast.Site, now time.Time) (Answer, error)
}

// Answer is weather and how it was got.
type Answer struct {
	Bulletin   weather.Bulletin
	Kept       bool
	PassedOver []forecast.PassedOver
	Warnings   forecast.Watch // official ones
}

// Settings are what the daemon goes by; Use replaces them while it runs.
type Settings struct {
	Sites        []forecast.Site
	People       []channel.Person
	Channels     map[string]channel.Channel
	Tanks        []Tank
	Asker        Asker
	Services     []string // that the asker asks, by id
	EveningAt    time.Duration
	RefreshEvery time.Duration
	Thresholds   alerts.Thresholds
	Usual        message.Reader // whom feeds are for
	Voice        voice.Options
	Link         string             // for acknowledgements, "" without
	Catalogue    *message.Catalogue // nil for the words that came with the program
	LeftOut      []string           // what is wrong in files of sites that are left out
}

// Daemon is the running thing.
type Daemon struct {
	Archive *archive.Archive
	Ledger  *ledger.Ledger
	Log     *slog.Logger
	Metrics *hooks.Metrics
	// PlaceKey names a site's place in the archive.
	PlaceKey func(*forecast.Site) string
	// Holder names this daemon among those that share a database: the same after a
	// restart, and no other's.
	Holder string
	// Now is the clock by which leases run; nil for the moments that Step is given.
	Now func() time.Time

	catalogue atomic.Pointer[message.Catalogue]
	lexicon   atomic.Pointer[inbound.Lexicon]
	shelf     shelf
	remakes   remakes
	writing   singleflight.Group // whether the records can be written, asked once for all who ask
	accepted  sync.Map           // deliveries that a channel took and the ledger has not yet noted: what was said

	mu       sync.Mutex
	settings Settings
	jobs     []*job
	people   map[string][]*channel.Person // whom a site concerns; under "" those whom all do
	byID     map[string]*channel.Person
	sites    map[string]*forecast.Site
	lastStep time.Time
	// By site and key; what the ledger did not take.
	unrecorded map[string]*unrecorded
	fault      string // of the settings, "" if they are good
}

// Refused notes that new settings did not check out: the old ones go on.
func (d *Daemon) Refused(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fault = err.Error()
}

// leastJump is how far a clock must be set back for it to matter.
const leastJump = time.Minute

// Step does what is due at a moment and says when something will be due next. A
// fault in one site, source or channel stops no other.
func (d *Daemon) Step(ctx context.Context, now time.Time) (next time.Time) {
	d.mu.Lock()
	if now.Before(d.lastStep.Add(-leastJump)) { // the clock was wrong before, or is now
		d.Log.Warn("the clock was set back: what is due is looked up anew", "from", d.lastStep, "to", now)
		for _, j := range d.jobs {
			j.next, j.again = j.schedule.Next(now.Add(-j.catchUp)), time.Time{}
		}
	}
	jobs := d.jobs
	d.mu.Unlock()
	d.deliverMeanwhile(ctx, now, func() { d.work(ctx, jobs, now) })
	d.escalate(ctx, now)
	d.deliver(ctx, now)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lastStep = now
	next = now.Add(time.Minute)
	return next
}

// work does what is due of jobs: sites side by side, the jobs of each one after the
// other.
func (d *Daemon) work(ctx context.Context, jobs []*job, now time.Time) {
	var group errgroup.Group
	group.SetLimit(4 * runtime.GOMAXPROCS(0)) // most of the time they wait for services and the database
	for from := 0; from < len(jobs); {
		to := from + 1
		for to < len(jobs) && jobs[to].site == jobs[from].site {
			to++
		}
		if own := jobs[from:to]; due(own, now) {
			group.Go(func() error {
				for _, j := range own {
					d.catchUp(ctx, j, now)
				}
				return nil
			})
		}
		from = to
	}
	_ = group.Wait()
}

// deliverMeanwhile sends what is decided while long work goes on: the first of many
// texts do not wait for the last outlook.
func (d *Daemon) deliverMeanwhile(ctx context.Context, now time.Time, work func()) {
	const pause = 2 * time.Second
	done := make(chan struct{})
	var sender sync.WaitGroup
	sender.Go(func() {
		for {
			select {
			case <-done:
				return
			case <-time.After(pause):
				d.deliver(ctx, now)
			}
		}
	})
	work()
	close(done)
	sender.Wait()
}

// Words are the words for a reader.
func (d *Daemon) Words(r message.Reader) (*message.Words, error) {
	if c := d.catalogue.Load(); c != nil {
		return c.Words(r)
	}
	return message.NewWords(r)
}
