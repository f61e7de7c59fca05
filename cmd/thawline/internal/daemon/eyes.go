package daemon

import (
	"context"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"thawline/alerts/engine"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/season"
)

// eyes are what was seen today at the bushes that share it, as all daemons keep it in the
// database, and which bushes have to look whether it changes anything for them.
type eyes struct {
	mu       sync.Mutex
	seen     map[string]archive.Sighting // by site
	known    map[string]int64            // revisions, by site
	together int64                       // all of them, as last read
	begun    bool
	news     []string             // sites whose sightings have changed since others were stirred last
	stirred  map[string]bool      // bushes near which something new was seen
	looked   map[string]time.Time // when they looked last whether it changes anything
	remade   map[string]time.Time // when their outlook was made again for it
}

// How often a bush looks at what was seen near by, and how often its outlook is made again
// for it, by whichever daemon.
const (
	eyesLookEvery   = time.Minute
	eyesRemakeEvery = 15 * time.Minute
	// What moves today's air by less is left to the next look at the weather.
	eyesLeastK = 0.25
	// keepSightings is how long they are kept: a day, wherever it is still that day.
	keepSightings = 3 * 24 * time.Hour
)

// eyesJob is the kind of job by which a bush looks.
const eyesJob = "eyes"

// sightingOf is what an outlook says was seen today at its site; without chances where it
// was nothing.
func sightingOf(site *forecast.Site, o *forecast.Outlook) archive.Sighting {
	s := archive.Sighting{Site: site.ID, Day: o.IssuedAt.In(site.Zone).Format(time.DateOnly), MadeAt: o.IssuedAt}
	if site.Shares.Seen && o.Seen != nil {
		s.Chances = o.Seen.Chances
	}
	return s
}

// keep takes in what an outlook says was seen today at a site, and gives what is to be
// written of it: nil where nothing is new.
func (e *eyes) keep(s *archive.Sighting) (*archive.Question, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	was := e.seen[s.Site]
	if s.Chances == nil && was.Chances == nil || was.Day == s.Day && slices.Equal(was.Chances, s.Chances) || was.MadeAt.After(s.MadeAt) {
		return nil, nil
	}
	e.put(s)
	return archive.PutSighting(s)
}

func (e *eyes) put(s *archive.Sighting) {
	if e.seen == nil {
		e.seen = map[string]archive.Sighting{}
	}
	e.seen[s.Site] = *s
}

// nearbyOf is a sighting as a hint for others, where its site is there and still shares it.
func nearbyOf(s *archive.Sighting, site *forecast.Site) forecast.Nearby {
	if site == nil || !site.Shares.Seen {
		return forecast.Nearby{}
	}
	return forecast.Nearby{Place: site.Place, Exposure: site.Exposure, Chances: s.Chances}
}

// near is what others saw on the day of a moment; nothing for one who does not share. Where
// they lie and what they agreed to their sites say, as they stand in the settings.
func (e *eyes) near(site *forecast.Site, sites map[string]*forecast.Site, now time.Time) []forecast.Nearby {
	if !site.Shares.Seen {
		return nil
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	today := now.In(site.Zone).Format(time.DateOnly)
	byID := map[string]forecast.Nearby{}
	for id, s := range e.seen {
		if id == site.ID || s.Day != today || s.MadeAt.After(now) {
			continue
		}
		if n := nearbyOf(&s, sites[id]); n.Matters(&site.Place) {
			byID[id] = n
		}
	}
	out := make([]forecast.Nearby, 0, len(byID))
	for _, id := range slices.Sorted(maps.Keys(byID)) {
		out = append(out, byID[id])
	}
	return out
}

// saw reports whether something was seen at a site on the day of a moment.
func (e *eyes) saw(site *forecast.Site, now time.Time) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	s := e.seen[site.ID]
	return s.Chances != nil && s.Day == now.In(site.Zone).Format(time.DateOnly)
}

// read takes in what all daemons have kept since the last time.
func (e *eyes) read(ctx context.Context, a *archive.Archive, now time.Time) error {
	together, err := a.SightingsTogether(ctx)
	if err != nil {
		return err
	}
	e.mu.Lock()
	same := e.begun && e.together == together
	known := maps.Clone(e.known)
	e.mu.Unlock()
	if same {
		return nil
	}
	revisions, err := a.SightingRevisions(ctx, now.Add(-keepSightings).Format(time.DateOnly))
	if err != nil {
		return err
	}
	var changed []string
	for id, n := range revisions {
		if known[id] != n {
			changed = append(changed, id)
		}
	}
	slices.Sort(changed)
	list, err := a.SightingsOf(ctx, changed)
	if err != nil {
		return err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	for i := range list {
		if !e.seen[list[i].Site].MadeAt.After(list[i].MadeAt) {
			e.put(&list[i])
		}
	}
	e.known, e.together, e.begun = revisions, together, true
	e.news = append(e.news, changed...)
	return nil
}

// first reads once, before the first outlook is made.
func (e *eyes) first(ctx context.Context, a *archive.Archive, now time.Time) error {
	e.mu.Lock()
	begun := e.begun
	e.mu.Unlock()
	if begun {
		return nil
	}
	return e.read(ctx, a, now)
}

// stir returns the ids of the sites that have to look now whether what is new near by changes
// anything for them: each once a minute at most.
func (e *eyes) stir(sites map[string]*forecast.Site, now time.Time) (look []string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.stirred == nil {
		e.stirred, e.looked, e.remade = map[string]bool{}, map[string]time.Time{}, map[string]time.Time{}
	}
	for _, id := range e.news { // also what was taken back: whoever heard of it looks again
		from := sites[id]
		if from == nil {
			continue
		}
		n := forecast.Nearby{Place: from.Place}
		for other, site := range sites {
			if other != id && n.Near(&site.Place) {
				e.stirred[other] = true
			}
		}
	}
	e.news = nil
	for id := range e.stirred {
		switch last, before := e.looked[id]; {
		case sites[id] == nil:
			delete(e.stirred, id)
		case !before || now.Sub(last) >= eyesLookEvery || now.Before(last):
			e.looked[id] = now
			look = append(look, id)
		}
	}
	slices.Sort(look)
	return look
}

// settle notes that a bush need not look again until something new is seen.
func (e *eyes) settle(site string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	delete(e.stirred, site)
}

// remake settles a bush whose outlook is made again.
func (e *eyes) remake(site string, now time.Time) {
	e.settle(site)
	e.mu.Lock()
	defer e.mu.Unlock()
	e.remade[site] = now
}

// rests reports whether the outlook of a site was made again lately for what was seen.
func (e *eyes) rests(site string, now time.Time) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	last, before := e.remade[site]
	return before && now.Sub(last) < eyesRemakeEvery && !now.Before(last)
}

// lookAround reads what was seen at bushes that share it, and has those near by look whether
// it changes anything for them.
func (d *Daemon) lookAround(ctx context.Context, now time.Time) {
	sites := d.sharing()
	if len(sites) < 2 {
		return
	}
	if err := d.eyes.read(ctx, d.Archive, now); err != nil {
		if ctx.Err() == nil {
			d.Log.Error("what was seen near by can't be read: it counts with the next weather", "error", err)
		}
		return
	}
	var jobs []engine.Job
	for _, id := range d.eyes.stir(sites, now) {
		jobs = append(jobs, engine.Job{Kind: eyesJob, Key: id, Queue: sitesQueue, Args: id, At: now})
	}
	if err := d.local.Enqueue(ctx, jobs...); err != nil {
		d.Log.Error("work is not begun", "error", err)
	}
}

// sharing are the sites that share what is seen there, by id.
func (d *Daemon) sharing() map[string]*forecast.Site {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.sharers
}

// eyesWork makes the outlook of a bush again where what was seen near by today changes it:
// not for one that has seen for itself, one whose taps are out, or one for which that was
// done within a quarter of an hour, by any daemon.
func (d *Daemon) eyesWork(ctx context.Context, j engine.Job, asOf time.Time) engine.Result {
	site := d.sharing()[j.Args]
	if site == nil || d.eyes.saw(site, asOf) {
		d.eyes.settle(j.Args)
		return engine.Done()
	}
	o := d.Outlook(ctx, site.ID)
	if o == nil || !o.Season.Tapped || o.Season.Closed != nil || o.Season.Stage == season.Over || !d.tellsMore(site, o, asOf) {
		d.eyes.settle(site.ID)
		return engine.Done()
	}
	if d.eyes.rests(site.ID, asOf) {
		return engine.Done() // it looks again
	}
	at := d.clock(asOf)
	// Nobody else's name: a daemon that comes back rests as well.
	ours, err := d.Ledger.ClaimJob(ctx, site.ID, eyesJob, "", d.Holder+" "+at.UTC().Format(engine.Instant), at, at.Add(eyesRemakeEvery))
	if err != nil {
		return engine.Again(engine.LookAgain, err)
	}
	if !ours {
		return engine.Done() // another daemon has done it lately: it looks again
	}
	d.eyes.remake(site.ID, asOf) // what is seen from here on counts anew
	if err := d.remake(ctx, site, asOf); err != nil && ctx.Err() == nil {
		d.Log.Error("the outlook was not made again after what was seen near by", "site", site.ID, "error", err)
	}
	return engine.Done()
}

// tellsMore reports whether what was seen near by moves today's air by more than an outlook
// knows of.
func (d *Daemon) tellsMore(site *forecast.Site, o *forecast.Outlook, now time.Time) bool {
	knownK := 0.0
	if o.IssuedAt.In(site.Zone).Format(time.DateOnly) == now.In(site.Zone).Format(time.DateOnly) {
		knownK = o.Eyes.WarmerK
	}
	is := forecast.LookAround(site, d.eyes.near(site, d.sharing(), now))
	return math.Abs(is.WarmerK-knownK) >= eyesLeastK
}
