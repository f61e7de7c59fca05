package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/robfig/cron/v3"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/weather/source"
)

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
	many, listed := len(s.Sites) > Many, s.Sites
	if many { // neighbours one after the other: they share what services say
		s.Sites = byCell(s.Sites)
	}
	jobs, err := d.jobsOf(&s, many, now)
	if err != nil {
		return err
	}
	lexicon, err := d.lexiconOf(s.Catalogue)
	if err != nil {
		return err
	}
	fresh := d.freshOutlooks(many, now, s.RefreshEvery)
	w := hooks.Watched{Many: many, Kinds: alerts.KindsWhere((*alerts.Profile).ByRole), Services: withWarnings(s.Services),
		Channels: slices.Collect(maps.Keys(s.Channels)), Now: now, Issued: d.Issued(context.Background())}
	for _, j := range jobs {
		if !slices.Contains(w.Tasks, j.name) {
			w.Tasks = append(w.Tasks, j.name)
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	known := map[string]*job{}
	for _, j := range d.jobs {
		known[j.site.ID+" "+j.name] = j
	}
	next := map[firsts]time.Time{} // thousands of sites have the same hours
	for _, j := range jobs {
		if of := (firsts{j.schedule, j.catchUp}); j.next.IsZero() {
			if next[of].IsZero() {
				next[of] = j.schedule.Next(now.Add(-j.catchUp))
			}
			j.next = next[of]
		}
		was := known[j.site.ID+" "+j.name]
		if was != nil {
			j.done, j.fault = was.done, was.fault
		}
		if j.name == "refresh" && fresh[j.site.ID] && (was == nil || alike(was.site, j.site)) {
			j.next = j.schedule.Next(now)
		}
	}
	d.settings, d.jobs, d.fault = s, jobs, ""
	d.bySite = map[string][]*job{}
	for _, j := range jobs {
		d.bySite[j.site.ID] = append(d.bySite[j.site.ID], j)
	}
	d.listed = listed
	d.people, d.byID, d.sites = peopleBySite(s.People), map[string]*channel.Person{}, map[string]*forecast.Site{}
	for i := range s.People {
		d.byID[s.People[i].ID] = &s.People[i]
	}
	d.byNumber = peopleByNumber(s.People)
	d.sharers = map[string]*forecast.Site{}
	for i := range s.Sites {
		d.sites[s.Sites[i].ID] = &s.Sites[i]
		if s.Sites[i].Shares.Seen {
			d.sharers[s.Sites[i].ID] = &s.Sites[i]
		}
	}
	w.Sites = d.sites
	d.Metrics.Watch(w)
	d.catalogue.Store(s.Catalogue)
	d.lexicon.Store(lexicon)
	if d.lastStep.IsZero() { // the first step may take as long as services do
		d.lastStep = now
	}
	return d.openEngine(now)
}

// firsts are jobs that begin at the same moment.
type firsts struct {
	schedule cron.Schedule
	catchUp  time.Duration
}

// byCell are sites in the order of their cells.
func byCell(sites []forecast.Site) []forecast.Site {
	type in struct {
		cell string
		at   int
	}
	order := make([]in, len(sites))
	for i := range sites {
		order[i] = in{source.CellOf(sites[i].Place), i}
	}
	slices.SortFunc(order, func(a, b in) int { return cmp.Or(strings.Compare(a.cell, b.cell), cmp.Compare(a.at, b.at)) })
	out := make([]forecast.Site, len(sites))
	for i, o := range order {
		out[i] = sites[o.at]
	}
	return out
}

// withWarnings are the names under which faults of services are counted: those that issue
// official warnings have two.
func withWarnings(services []string) []string {
	names := slices.Clone(services)
	for _, name := range services {
		if source.Warns(name) {
			names = append(names, source.WarningsOf(name))
		}
	}
	return names
}

// alike reports whether two sites say the same, as they are written: what settings
// leave out is a NaN, which equals nothing, and zones that are read twice are two.
func alike(a, b *forecast.Site) bool { return fmt.Sprintf("%+v", *a) == fmt.Sprintf("%+v", *b) }

// jobsOf are the jobs of all sites, those of one side by side.
func (d *Daemon) jobsOf(s *Settings, many bool, now time.Time) ([]*job, error) {
	var jobs []*job
	schedules := map[string]cron.Schedule{} // each holds its zone: sites share them
	for i := range s.Sites {
		site := &s.Sites[i]
		at := func(minute, hour int) (cron.Schedule, error) {
			spec := fmt.Sprintf("CRON_TZ=%s %d %d * * *", site.Zone, minute, hour)
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
		told := int(s.EveningAt.Minutes())
		// In the hour before, so that the evening finds its weather at hand.
		asked := max(told-5-early(site, many, 45), 0)
		evening, err1 := at(told%60, told/60)
		morning, err2 := at(15-early(site, many, 15), 6)
		night, err3 := at(40-early(site, many, 40), 0)
		before, err4 := at(asked%60, asked/60)
		if err := errors.Join(err1, err2, err3, err4); err != nil {
			return nil, err
		}
		// Sites ask at minutes of their own, so that services are not asked by all at
		// once.
		offset := time.Duration(spread(site.ID)%uint32(s.RefreshEvery/time.Second)) * time.Second
		jobs = append(jobs,
			&job{name: "refresh", site: site, schedule: every{s.RefreshEvery, offset}, next: now, do: d.refresh},
			&job{name: "morning", site: site, schedule: morning, catchUp: 2 * time.Hour, do: d.refresh},
			&job{name: "evening", site: site, schedule: evening, catchUp: 4 * time.Hour, do: d.evening},
			&job{name: "housekeeping", site: site, schedule: night, catchUp: 12 * time.Hour, do: d.housekeeping})
		if _, watches := s.Asker.(Watcher); watches && slices.ContainsFunc(s.Services, source.Warns) {
			step := watchEvery
			if many {
				step = watchEveryMany
			}
			jobs = append(jobs, &job{name: "warnings", site: site, schedule: every{step, offset % step}, do: d.watch})
		}
		if many {
			jobs = append(jobs, &job{name: "weather", site: site, schedule: before, do: d.fetch})
		}
	}
	return jobs, nil
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

// Issued says when the weather of each kept outlook was issued.
func (d *Daemon) Issued(ctx context.Context) map[string]time.Time {
	ctx, cancel := context.WithTimeout(ctx, healthDeadline)
	defer cancel()
	at, err := d.Archive.OutlooksIssued(ctx)
	if err != nil {
		d.Log.Warn("kept outlooks can't be read: metrics know only what this daemon saw", "error", err)
	}
	return at
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
