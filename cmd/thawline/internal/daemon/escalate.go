package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/auth"
)

const answerWithin = time.Hour

// escalate looks for urgent messages that nobody has acknowledged and tells the
// keepers who did not get them, each message once. Where people have no way to
// acknowledge only what could not be delivered goes on.
func (d *Daemon) escalate(ctx context.Context, now time.Time) {
	d.mu.Lock()
	people, link, sites := d.settings.People, d.settings.Link, d.sites
	d.mu.Unlock()
	open, err := d.Ledger.Unanswered(ctx, now.Add(-answerWithin), now)
	if ctx.Err() != nil {
		return // the program ends; the next start looks again
	}
	if err != nil {
		d.Log.Error("the ledger can't be read", "error", err)
		return
	}
	if link == "" {
		open = slices.DeleteFunc(open, func(v ledger.Delivery) bool { return v.State != ledger.Failed })
	}
	told := map[string]map[string]bool{} // people by decision
	for _, v := range open {
		if told[v.DecisionID] != nil {
			continue
		}
		told[v.DecisionID] = map[string]bool{}
		_, _, all, err := d.Ledger.Decision(ctx, v.DecisionID)
		if err != nil {
			d.Log.Error("the ledger can't be read", "error", err)
			return
		}
		for i := range all {
			told[v.DecisionID][all[i].Person] = true
		}
	}
	for _, v := range open {
		site := sites[v.Site]
		if site == nil {
			continue // taken out of the settings since
		}
		var to []ledger.Recipient
		for i := range people {
			p := &people[i]
			if auth.Role(p.Role) != auth.Keeper || !p.Concerns(v.Site) || told[v.DecisionID][p.ID] {
				continue
			}
			if hears, err := d.hears(ctx, p, now); err != nil || !hears {
				if err != nil {
					d.Log.Error("the ledger can't be read", "error", err)
					return
				}
				continue
			}
			w, err := d.Words(p.Reader)
			if err != nil {
				d.Log.Error("no words for an escalation", "person", p.ID, "error", err)
				continue
			}
			r := ledger.Recipient{Person: p.ID, Words: w.Escalation(d.nameOf(v.Person), v.Words, v.State != ledger.Failed)}
			if !p.BreaksQuiet {
				r.NotBefore = p.Quiet.End(now.In(site.Zone))
			}
			to = append(to, r)
		}
		if len(to) == 0 {
			continue
		}
		why := "nobody has said within an hour that they have seen it"
		if v.State == ledger.Failed {
			why = "it could not be delivered"
		}
		decision := alerts.Decision{Kind: alerts.Escalation, Site: v.Site, Key: string(alerts.Escalation) + ":" + v.DecisionID, Until: v.Until, Why: []string{why}}
		if _, err := d.Ledger.Record(ctx, decision, to, now); err != nil {
			d.Log.Error("an escalation was not recorded", "error", err)
		}
	}
}

// nameOf is what people call a person, the id where nothing is known.
func (d *Daemon) nameOf(person string) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[person]; p != nil && p.Name != "" {
		return p.Name
	}
	return person
}
