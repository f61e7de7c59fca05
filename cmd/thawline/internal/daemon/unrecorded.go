package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
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
	since time.Time            // it was tried to tell it, or to record it first
	told  map[string]bool      // whom it reached all the same
	rest  map[string]time.Time // until when the gateway asked to be left alone, by person
}

// notToldAnyway are those whom a decision did not reach without being recorded, none before
// the gateway has had the rest that it asked for.
func (d *Daemon) notToldAnyway(key string, to []ledger.Recipient) []ledger.Recipient {
	d.mu.Lock()
	defer d.mu.Unlock()
	u := d.unrecorded[key]
	if u == nil {
		return to
	}
	to = slices.DeleteFunc(slices.Clone(to), func(r ledger.Recipient) bool { return u.told[r.Person] })
	for i := range to {
		if rest := u.rest[to[i].Person]; rest.After(to[i].NotBefore) {
			to[i].NotBefore = rest
		}
	}
	return to
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

// tellAnyway sends what can't be recorded for too long, once to whom it reaches; who it does
// not reach, or who sleeps, is tried again after as long, and hears by the ledger once that is
// there again.
func (d *Daemon) tellAnyway(ctx context.Context, site *forecast.Site, list []ledger.Telling, now time.Time) {
	messages := map[string]*ledger.Delivery{} // by person
	said := map[string][]string{}             // by person the keys of decisions
	// What is of use longest carries the rest, and its key, as in the ledger.
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b ledger.Telling) int { return b.Decision.Until.Compare(a.Decision.Until) })
	for i := range list {
		decision := &list[i].Decision
		key := site.ID + " " + decision.Key
		if !d.dueAnyway(key, now) {
			continue
		}
		for _, r := range d.notToldAnyway(key, list[i].To) {
			if r.NotBefore.After(now) {
				continue
			}
			said[r.Person] = append(said[r.Person], decision.Key)
			v := ledger.Delivery{Person: r.Person, Site: site.ID, Kind: decision.Kind,
				Words: r.Words, Forms: r.Forms, MadeAt: now, Until: decision.Until, Urgent: decision.Urgent}
			if first := messages[r.Person]; first != nil {
				first.With = append(first.With, v)
				continue
			}
			messages[r.Person] = &v
		}
	}
	for _, v := range messages {
		var err error
		if v.ID, err = d.Ledger.MessageID(ctx, site.ID, v.Person, said[v.Person]...); err != nil { // twice is better than not at all
			d.Log.Error("the key of messages can't be read: one may come twice", "person", v.Person, "error", err)
			v.ID = uuid.NewString()
		}
		ways, name := d.waysOf(v)
		for _, way := range ways {
			_, err := d.send(ctx, v, way, name)
			d.Log.Error("told without being recorded: see to the disk", "kind", v.Kind, "site", site.ID, "person", v.Person, "channel",
				way.Channel, "error", err)
			if err == nil {
				d.triedAnyway(site.ID, said[v.Person], func(u *unrecorded) { u.told[v.Person] = true })
				break
			}
			if no := (&channel.Refusal{}); errors.As(err, &no) && no.Wait > 0 {
				d.triedAnyway(site.ID, said[v.Person], func(u *unrecorded) { u.rest[v.Person] = now.Add(no.Wait) })
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
		u = &unrecorded{since: now, told: map[string]bool{}, rest: map[string]time.Time{}}
		d.unrecorded[key] = u
	}
	due := now.Sub(u.since) >= tellAnywayAfter && !d.Archive.Shared()
	if due {
		u.since = now
	}
	return due
}

// triedAnyway notes what came of telling decisions of a site.
func (d *Daemon) triedAnyway(site string, keys []string, note func(u *unrecorded)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, key := range keys {
		if u := d.unrecorded[site+" "+key]; u != nil { // not recorded by now
			note(u)
		}
	}
}
