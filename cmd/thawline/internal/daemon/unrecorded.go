package daemon

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// What can't be recorded is tried again for so long, and then told all the same: a
// full disk must not silence the evening. Only a daemon that has its records to
// itself does so; of several each would.
const tellAnywayAfter = 10 * time.Minute

// unrecorded is a decision that the ledger did not take.
type unrecorded struct {
	since time.Time
	told  bool
}

// toldAnyway reports whether a decision went out without being recorded.
func (d *Daemon) toldAnyway(key string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	u := d.unrecorded[key]
	return u != nil && u.told
}

// recorded notes that the ledger took a decision after all.
func (d *Daemon) recorded(key string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.unrecorded, key)
}

// sendOnce sends a message, unless it was accepted before and only that could not be
// recorded.
func (d *Daemon) sendOnce(ctx context.Context, v *ledger.Delivery, way channel.Way, name string) (said string, err error) {
	if said, before := d.accepted.Load(v.ID); before {
		return fmt.Sprint(said), nil
	}
	if said, err = d.send(ctx, v, way, name); err == nil {
		d.accepted.Store(v.ID, said)
	}
	return said, err
}

// tellAnyway sends, once, what can't be recorded for too long.
func (d *Daemon) tellAnyway(ctx context.Context, site *forecast.Site, decision *alerts.Decision, to []ledger.Recipient, now time.Time) {
	key := site.ID + " " + decision.Key
	d.mu.Lock()
	if d.unrecorded == nil {
		d.unrecorded = map[string]*unrecorded{}
	}
	u := d.unrecorded[key]
	if u == nil {
		u = &unrecorded{since: now}
		d.unrecorded[key] = u
	}
	due := !u.told && now.Sub(u.since) >= tellAnywayAfter && !d.Archive.Shared()
	u.told = u.told || due
	d.mu.Unlock()
	if !due {
		return
	}
	for i := range to {
		if to[i].NotBefore.After(now) {
			continue
		}
		v := ledger.Delivery{ID: uuid.NewSHA1(uuid.NameSpaceOID, []byte(key+" "+to[i].Person)).String(), Person: to[i].Person, Site: site.ID, Kind: decision.Kind,
			Words: to[i].Words, MadeAt: now, Until: decision.Until, Urgent: decision.Urgent}
		ways, name := d.waysOf(&v)
		for _, way := range ways {
			_, err := d.send(ctx, &v, way, name)
			d.Log.Error("told without being recorded: see to the disk", "kind", decision.Kind, "site", site.ID, "person", v.Person, "channel", way.Channel, "error", err)
			if err == nil {
				break
			}
		}
	}
}
