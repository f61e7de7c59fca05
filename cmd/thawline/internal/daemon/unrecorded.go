package daemon

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

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
func (d *Daemon) tellAnyway(ctx context.Context, site *forecast.Site, list []ledger.Telling, now time.Time) {
	messages := map[string]*ledger.Delivery{} // by person
	for i := range list {
		decision := &list[i].Decision
		if !d.dueAnyway(site.ID+" "+decision.Key, now) {
			continue
		}
		for _, r := range list[i].To {
			if r.NotBefore.After(now) {
				continue
			}
			v := ledger.Delivery{ID: uuid.NewSHA1(uuid.NameSpaceOID, []byte(site.ID+" "+decision.Key+" "+r.Person)).String(),
				Person: r.Person, Site: site.ID, Kind: decision.Kind,
				Words: r.Words, Forms: r.Forms, MadeAt: now, Until: decision.Until, Urgent: decision.Urgent}
			if first := messages[r.Person]; first != nil {
				first.With = append(first.With, v)
				continue
			}
			messages[r.Person] = &v
		}
	}
	for _, v := range messages {
		ways, name := d.waysOf(v)
		for _, way := range ways {
			_, err := d.send(ctx, v, way, name)
			d.Log.Error("told without being recorded: see to the disk", "kind", v.Kind, "site", site.ID, "person", v.Person, "channel",
				way.Channel, "error", err)
			if err == nil {
				break
			}
		}
	}
}

// dueAnyway reports whether a decision that the ledger does not take has waited too long.
func (d *Daemon) dueAnyway(key string, now time.Time) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
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
	return due
}
