package daemon

import (
	"context"
	"slices"
	"sync"
	"time"

	"thawline/forecast"
	"thawline/forecast/boil"
)

// shelf holds the outlooks that were lately made or asked for; the rest are in
// the archive, where every daemon finds them.
type shelf struct {
	mu   sync.Mutex
	kept map[string]*shelved
}

type shelved struct {
	outlook *forecast.Outlook
	used    time.Time // by the wall's clock
	checked time.Time // whether another daemon has made a newer one
}

const (
	mostShelved = 64
	checkEvery  = 20 * time.Second
)

func (s *shelf) put(o *forecast.Outlook, at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil {
		s.kept = map[string]*shelved{}
	}
	s.kept[o.Site] = &shelved{o, at, at}
	if len(s.kept) <= mostShelved {
		return
	}
	oldest := ""
	for site, one := range s.kept {
		if oldest == "" || one.used.Before(s.kept[oldest].used) {
			oldest = site
		}
	}
	delete(s.kept, oldest)
}

// get is what is on the shelf, and whether the archive is to be looked into.
func (s *shelf) get(site string, at time.Time) (o *forecast.Outlook, look bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	one := s.kept[site]
	if one == nil {
		return nil, true
	}
	one.used = at
	if look = at.Sub(one.checked) > checkEvery; look {
		one.checked = at
	}
	return one.outlook, look
}

// newest is what is on the shelf; nil for nothing.
func (s *shelf) newest(site string) *forecast.Outlook {
	s.mu.Lock()
	defer s.mu.Unlock()
	if one := s.kept[site]; one != nil {
		return one.outlook
	}
	return nil
}

// Outlook is the newest outlook of a site, whichever daemon made it; nil before
// the first. Where a record was just written it waits up to two seconds for the one that
// knows of it.
func (d *Daemon) Outlook(ctx context.Context, site string) *forecast.Outlook {
	d.settled(ctx, site)
	at := time.Now()
	o, look := d.shelf.get(site, at)
	if !look {
		return o
	}
	var after time.Time
	if o != nil {
		after = o.IssuedAt
	}
	var fresh forecast.Outlook
	found, err := d.Archive.Outlook(ctx, site, after, &fresh)
	if err != nil {
		d.Log.Warn("the newest outlook can't be read", "site", site, "error", err)
		return o
	}
	if !found {
		return o
	}
	if zone := d.zoneOf(site); zone != nil { // JSON knows offsets, not zones
		fresh.IssuedAt, fresh.Hours.Start = fresh.IssuedAt.In(zone), fresh.Hours.Start.In(zone)
	}
	// An older daemon names only where such hours begin.
	fresh.Sugar = slices.DeleteFunc(fresh.Sugar, func(s boil.SugarSpan) bool { return s.To.IsZero() })
	d.shelf.put(&fresh, at)
	return &fresh
}

func (d *Daemon) zoneOf(site string) *time.Location {
	d.mu.Lock()
	defer d.mu.Unlock()
	if s := d.sites[site]; s != nil {
		return s.Zone
	}
	return nil
}
