// Package daemon watches sugarbushes: it asks for weather, decides what people
// need to know, and sees to it that they are told once. It runs on a clock that
// is passed in, step by step, so that a season can be replayed.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/robfig/cron/v3"
	"golang.org/x/sync/errgroup"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// Asker gets the newest weather of a site: from services, or the last good one.
type Asker interface {
	Ask(ctx context.Context, site *forecast.Site, now time.Time) (Answer, error)
}

// Answer is weather and how it was got.
type Answer struct {
	Bulletin weather.Bulletin
	Kept     bool
	Passed   []string // services that gave nothing, and why
}

// Person is someone to tell.
type Person struct {
	ID, Role    string
	Sites       []string // that concern the person, nil for all
	Reader      message.Reader
	Quiet       Quiet
	BreaksQuiet bool
	PausedUntil time.Time
	Ways        []Way // the preferred first
}

// Way is one channel and what it needs to find the person.
type Way struct {
	Channel string
	To      string
}

// Quiet are hours of the day without messages; Start equal to End means none.
type Quiet struct{ Start, End time.Duration }

// Settings are what the daemon goes by; Use replaces them while it runs.
type Settings struct {
	Sites        []forecast.Site
	People       []Person
	Channels     map[string]channel.Channel
	Tanks        []Tank
	Asker        Asker
	EveningAt    time.Duration
	RefreshEvery time.Duration
	Thresholds   alerts.Thresholds
	Link         string             // for acknowledgements, "" without
	Catalogue    *message.Catalogue // nil for the words that came with the program
	LeftOut      []string           // what is wrong in files of sites that are left out
}

// Daemon is the running thing.
type Daemon struct {
	Archive *archive.Archive
	Ledger  *ledger.Ledger
	Log     *slog.Logger
	Metrics *Metrics
	// PlaceKey names a site's place in the archive.
	PlaceKey func(*forecast.Site) string
	// Holder names this daemon among those that share a database: the same after a
	// restart, and no other's.
	Holder string
	// Now is the clock by which leases run; nil for the moments that Step is given.
	Now func() time.Time

	catalogue atomic.Pointer[message.Catalogue]
	shelf     shelf

	mu       sync.Mutex
	settings Settings
	jobs     []*job
	people   map[string][]*Person // whom a site concerns; under "" those whom all do
	byID     map[string]*Person
	sites    map[string]*forecast.Site
	lastStep time.Time
	fault    string // of the settings, "" if they are good
}

// job is one thing that is done for a site at its times.
type job struct {
	name     string
	site     *forecast.Site
	schedule cron.Schedule
	next     time.Time
	catchUp  time.Duration // how late it is still of use
	again    time.Time     // another daemon has it in hand: not before
	do       func(ctx context.Context, site *forecast.Site, slot time.Time, now time.Time) error

	done  time.Time // when it last went well
	fault string    // of the last time, "" if it went well
}

// Use takes settings, from a moment on. What fell due since catchUp before it
// and was not done is still done.
func (d *Daemon) Use(s Settings, now time.Time) error {
	var jobs []*job
	schedules := map[string]cron.Schedule{} // each holds its zone: sites share them
	many := len(s.Sites) > Many
	if many { // neighbours one after the other: they share what services say
		s.Sites = slices.Clone(s.Sites)
		slices.SortStableFunc(s.Sites, func(a, b forecast.Site) int { return strings.Compare(source.CellOf(a.Place), source.CellOf(b.Place)) })
	}
	for i := range s.Sites {
		site := &s.Sites[i]
		at := func(spec string) (cron.Schedule, error) {
			spec = fmt.Sprintf("CRON_TZ=%s %s", site.Zone, spec)
			if known := schedules[spec]; known != nil {
				return known, nil
			}
			schedule, err := cron.ParseStandard(spec)
			if err != nil {
				return nil, fmt.Errorf("schedule of %s: %w", site.ID, err)
			}
			schedules[spec] = schedule
			return schedule, nil
		}
		evening, err1 := at(fmt.Sprintf("%d %d * * *", int(s.EveningAt.Minutes())%60, int(s.EveningAt.Hours())))
		morning, err2 := at(fmt.Sprintf("%d 6 * * *", 15-early(site, many, 15)))
		night, err3 := at(fmt.Sprintf("%d 0 * * *", 40-early(site, many, 40)))
		if err := errors.Join(err1, err2, err3); err != nil {
			return err
		}
		// Sites ask at minutes of their own, so that services are not asked by all at
		// once.
		offset := time.Duration(spread(site.ID)%uint32(s.RefreshEvery/time.Second)) * time.Second
		jobs = append(jobs,
			&job{name: "refresh", site: site, schedule: every{s.RefreshEvery, offset}, next: now, do: d.refresh},
			&job{name: "morning", site: site, schedule: morning, catchUp: 2 * time.Hour, do: d.refresh},
			&job{name: "evening", site: site, schedule: evening, catchUp: 4 * time.Hour, do: d.evening},
			&job{name: "housekeeping", site: site, schedule: night, catchUp: 12 * time.Hour, do: d.housekeeping})
		if many {
			before, err := at(beforeEvening(site, s.EveningAt))
			if err != nil {
				return err
			}
			jobs = append(jobs, &job{name: "weather", site: site, schedule: before, do: d.fetch})
		}
	}
	fresh := d.freshOutlooks(many, now, s.RefreshEvery)
	d.mu.Lock()
	defer d.mu.Unlock()
	known := map[string]*job{}
	for _, j := range d.jobs {
		known[j.site.ID+" "+j.name] = j
	}
	for _, j := range jobs {
		if j.next.IsZero() {
			j.next = j.schedule.Next(now.Add(-j.catchUp))
		}
		was := known[j.site.ID+" "+j.name]
		if was != nil {
			j.done, j.fault = was.done, was.fault
		}
		if j.name == "refresh" && fresh[j.site.ID] && (was == nil || reflect.DeepEqual(was.site, j.site)) {
			j.next = j.schedule.Next(now)
		}
	}
	d.settings, d.jobs, d.fault = s, jobs, ""
	d.people, d.byID, d.sites = peopleBySite(s.People), map[string]*Person{}, map[string]*forecast.Site{}
	for i := range s.People {
		d.byID[s.People[i].ID] = &s.People[i]
	}
	for i := range s.Sites {
		d.sites[s.Sites[i].ID] = &s.Sites[i]
	}
	d.Metrics.summed(many)
	d.catalogue.Store(s.Catalogue)
	if d.lastStep.IsZero() { // the first step may take as long as services do
		d.lastStep = now
	}
	return nil
}

// Many is from how many sites on they share the work of services and their hours are
// spread.
const Many = 20

// early is how many minutes before the hour of all a site has its own turn, where
// there are many.
func early(site *forecast.Site, many bool, within uint32) int {
	if !many {
		return 0
	}
	return int(spread(site.ID) % within)
}

// beforeEvening is when a site's weather is asked for in the hour before its evening
// text, where there are many: the text then finds it at hand.
func beforeEvening(site *forecast.Site, evening time.Duration) string {
	at := max(int(evening.Minutes())-5-early(site, true, 45), 0)
	return fmt.Sprintf("%d %d * * *", at%60, at/60)
}

// fetch asks for a site's weather, to have it at hand.
func (d *Daemon) fetch(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	d.mu.Lock()
	asker := d.settings.Asker
	d.mu.Unlock()
	_, err := asker.Ask(ctx, site, now)
	return err
}

// freshOutlooks are the sites, where there are many, whose kept outlook is young:
// after a restart they wait for their turn.
func (d *Daemon) freshOutlooks(many bool, now time.Time, every time.Duration) map[string]bool {
	if !many {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), healthDeadline)
	defer cancel()
	made, err := d.Archive.OutlooksMade(ctx, now.Add(-every))
	if err != nil {
		d.Log.Warn("kept outlooks can't be read: all sites are looked at now", "error", err)
		return nil
	}
	fresh := map[string]bool{}
	for _, id := range made {
		fresh[id] = true
	}
	return fresh
}

// every is a schedule of equal steps from an offset on.
type every struct{ step, offset time.Duration }

func (e every) Next(t time.Time) time.Time {
	return t.Add(-e.offset).Truncate(e.step).Add(e.step + e.offset)
}

// spread is a number from a name (FNV-1a).
func spread(name string) uint32 {
	h := uint32(2166136261)
	for _, b := range []byte(name) {
		h = (h ^ uint32(b)) * 16777619
	}
	return h
}

// Refused notes that new settings did not check out: the old ones go on.
func (d *Daemon) Refused(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fault = err.Error()
}

// Step does what is due at a moment and says when something will be due next. A
// fault in one site, source or channel stops no other.
func (d *Daemon) Step(ctx context.Context, now time.Time) (next time.Time) {
	d.mu.Lock()
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

func due(jobs []*job, now time.Time) bool {
	for _, j := range jobs {
		if !j.next.After(now) {
			return true
		}
	}
	return false
}

// catchUp does what is due of a job.
func (d *Daemon) catchUp(ctx context.Context, j *job, now time.Time) {
	if now.Before(j.again) {
		return
	}
	for !j.next.After(now) && ctx.Err() == nil {
		slot := j.next
		if !d.run(ctx, j, slot, now) {
			j.again = now.Add(lookAgain)
			return
		}
		next := j.schedule.Next(slot)
		if !next.After(now) && j.catchUp == 0 {
			next = j.schedule.Next(now) // a slot that was slept through is worth nothing
		}
		d.mu.Lock()
		j.next = next
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
		if late := now.Sub(slot); late > j.catchUp {
			d.Log.Warn("too late to be of use, left out", "job", j.name, "site", j.site.ID, "due", slot)
			return true
		}
		done, err := d.Ledger.Done(ctx, j.site.ID, j.name, name)
		if err != nil {
			d.Log.Error("the ledger can't be read", "job", j.name, "site", j.site.ID, "error", err)
		}
		if done {
			return true
		}
	}
	began := d.clock(now)
	ours, err := d.Ledger.ClaimJob(ctx, j.site.ID, j.name, name, d.Holder, began, began.Add(jobLease))
	if err != nil {
		d.Log.Error("the ledger can't be written: the job is done all the same", "job", j.name, "site", j.site.ID, "error", err)
	} else if !ours {
		return !once // another daemon has it in hand; what has to be done is looked at again
	}
	err = d.guarded(ctx, j, slot, now)
	d.mu.Lock()
	if j.fault = ""; err != nil {
		j.fault = err.Error()
	} else {
		j.done = now
	}
	d.mu.Unlock()
	if err != nil {
		d.Log.Error("a job failed", "job", j.name, "site", j.site.ID, "error", err)
		d.Metrics.jobFailed(j.name, j.site.ID)
		return true
	}
	d.Metrics.jobDone(j.name, j.site.ID, now)
	if once {
		if err := d.Ledger.MarkDone(ctx, j.site.ID, j.name, name, now); err != nil {
			d.Log.Error("the ledger can't be written", "job", j.name, "site", j.site.ID, "error", err)
		}
	}
	return true
}

// jobLease is how long a daemon that does not come back keeps a job from others:
// longer than services take to answer.
const jobLease = 4 * time.Minute

// lookAgain is when a job that another daemon has in hand is looked at again.
const lookAgain = 30 * time.Second

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

// refresh asks for weather, makes the outlook and looks whether it changes
// anything that people must know.
func (d *Daemon) refresh(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	o, err := d.look(ctx, site, now)
	if err != nil {
		return err
	}
	return d.decide(ctx, site, o, alerts.Moment{Now: now})
}

// evening tells of tomorrow. Without any outlook it says that nothing is known.
func (d *Daemon) evening(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	o, err := d.look(ctx, site, now)
	if err != nil {
		d.Log.Error("no outlook for the evening", "site", site.ID, "error", err)
		return d.stopped(ctx, site, now, err)
	}
	said := forecast.EveningOf(o)
	if err := d.Archive.PutEvening(ctx, site.ID, said.Date, &said); err != nil {
		d.Log.Warn("the evening is not kept to be looked back on", "site", site.ID, "error", err)
	}
	return d.decide(ctx, site, o, alerts.Moment{Now: now, Evening: true})
}

// cores are what outlooks are worked out on.
var cores = make(chan struct{}, runtime.GOMAXPROCS(0))

// look gets the weather and makes the outlook.
func (d *Daemon) look(ctx context.Context, site *forecast.Site, now time.Time) (*forecast.Outlook, error) {
	d.mu.Lock()
	asker := d.settings.Asker
	d.mu.Unlock()
	answer, err := asker.Ask(ctx, site, now)
	for range answer.Passed {
		d.Metrics.sourceFailed(site.ID)
	}
	if err != nil {
		d.Metrics.sourceFailed(site.ID)
		return nil, err
	}
	in := forecast.Inputs{Site: *site, Bulletin: answer.Bulletin, Kept: answer.Kept, Passed: answer.Passed, Now: now, Seed: uint64(now.Unix()/3600) ^ uint64(spread(site.ID))}
	if !answer.Kept {
		past := answer.Bulletin.Course.Between(answer.Bulletin.Course.Start(), now)
		if err := d.Archive.PutHours(ctx, d.PlaceKey(site), &past); err != nil {
			d.Log.Warn("the past weather was not kept", "site", site.ID, "error", err)
		}
	}
	in.Before, in.Visits = d.kept(ctx, site, now)
	cores <- struct{}{}
	o, err := forecast.Make(in)
	<-cores
	if err != nil {
		return nil, err
	}
	d.shelf.put(&o, time.Now())
	if err := d.Archive.PutOutlook(ctx, site.ID, o.IssuedAt, o.Source.IssuedAt, &o); err != nil {
		d.Log.Warn("the outlook is not kept for other daemons and a restart", "site", site.ID, "error", err)
	}
	d.Metrics.outlook(&o)
	d.publish(ctx, site, &o, now)
	if err := d.keepCalendar(ctx, site, &o, now); err != nil {
		d.Log.Warn("the calendar was not kept", "site", site.ID, "error", err)
	}
	return &o, nil
}

// kept is what the archive knows of a site's season; one that can't be read
// takes nothing else away.
func (d *Daemon) kept(ctx context.Context, site *forecast.Site, now time.Time) (weather.Series, []records.Visit) {
	from := SeasonStart(now, site.Zone)
	hours, err := d.Archive.Hours(ctx, d.PlaceKey(site), from, now)
	if err != nil {
		d.Log.Warn("kept weather is left out", "site", site.ID, "error", err)
	}
	stored, err := d.Archive.Visits(ctx, site.ID, from, site.Zone)
	if err != nil {
		d.Log.Warn("records are left out", "site", site.ID, "error", err)
	}
	var visits []records.Visit
	for _, s := range stored {
		visits = append(visits, s.Visit)
	}
	return hours, visits
}

// SeasonStart is the first of November before a moment: winters are followed
// from then.
func SeasonStart(now time.Time, zone *time.Location) time.Time {
	here := now.In(zone)
	year := here.Year()
	if here.Month() < time.November {
		year--
	}
	return time.Date(year, time.November, 1, 0, 0, 0, 0, zone)
}

// words are the words for a reader.
func (d *Daemon) words(r message.Reader) (*message.Words, error) {
	if c := d.catalogue.Load(); c != nil {
		return c.Words(r)
	}
	return message.NewWords(r)
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
