package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
)

// An urgent message waits so long for an answer, at least and at most.
const (
	leastAnswerTime = 10 * time.Minute
	mostAnswerTime  = time.Hour
)

// answerTime is how long a message waits for an answer before keepers hear of it: a third
// of the time that was left when it was sent, so that they can still do something.
func answerTime(d *alerts.Decision, sentAt time.Time) time.Duration {
	deadline := d.Facts.At
	if deadline.IsZero() {
		deadline = d.Until
	}
	return min(max(deadline.Sub(sentAt)/3, leastAnswerTime), mostAnswerTime)
}

// escalate looks for urgent messages that nobody has acknowledged and tells the
// keepers who did not get them, each message once. Where people have no way to
// acknowledge only what could not be delivered goes on.
func (d *Daemon) escalate(ctx context.Context, now time.Time) {
	d.mu.Lock()
	link, sites := d.settings.Link, d.sites
	d.mu.Unlock()
	open, err := d.Ledger.Unanswered(ctx, now.Add(-leastAnswerTime), now)
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
	open = slices.DeleteFunc(open, func(v ledger.Delivery) bool { return d.OfPulled(ctx, &v, now) })
	var all []ledger.Telling
	for i := range open {
		v := &open[i]
		site := sites[v.Site]
		if site == nil {
			continue // taken out of the settings since
		}
		decision, _, copies, err := d.Ledger.Decision(ctx, v.DecisionID)
		if err != nil {
			d.Log.Error("the ledger can't be read", "error", err)
			return
		}
		if decision.Overtaken(d.Outlook(ctx, v.Site)) {
			continue // somebody has been there, said or not
		}
		wait := answerTime(&decision, v.SentAt)
		if v.State != ledger.Failed && now.Sub(v.SentAt) < wait {
			continue
		}
		to, err := d.keepersWithout(ctx, site, v, &decision, copies, now)
		if err != nil {
			d.Log.Error("an escalation can't be made", "decision", v.DecisionID, "error", err)
			return
		}
		if len(to) == 0 {
			continue
		}
		why := "nobody has said within " + wait.Round(time.Minute).String() + " that they have seen it"
		if v.State == ledger.Failed {
			why = "it could not be delivered"
		}
		all = append(all, ledger.Telling{Decision: alerts.Decision{Kind: alerts.Escalation, Site: v.Site,
			Key: string(alerts.Escalation) + ":" + v.DecisionID, Until: v.Until, Why: []string{why}}, To: to})
	}
	if len(all) == 0 {
		return
	}
	if _, err := d.Ledger.RecordAll(ctx, all, now); err != nil {
		d.Log.Error("an escalation was not recorded", "error", err)
	}
}

// keepersWithout are the keepers of a site who did not get a message, and are to hear of
// it: that its person has not answered, or could not be reached.
func (d *Daemon) keepersWithout(ctx context.Context, site *forecast.Site, v *ledger.Delivery, decision *alerts.Decision,
	copies []ledger.Delivery, now time.Time) ([]ledger.Recipient, error) {
	d.mu.Lock()
	people := slices.Concat(d.people[""], d.people[site.ID])
	d.mu.Unlock()
	var keepers []*channel.Person
	for _, p := range people {
		if auth.Role(p.Role) != auth.Keeper || slices.ContainsFunc(copies, func(c ledger.Delivery) bool { return c.Person == p.ID }) {
			continue
		}
		hears, err := d.hears(ctx, p, now)
		if err != nil {
			return nil, err
		}
		if hears {
			keepers = append(keepers, p)
		}
	}
	var to []ledger.Recipient
	for _, p := range d.ofOneBush(decision, keepers) {
		w, err := d.Words(p.Reader)
		if err != nil {
			return nil, err
		}
		r := d.recipient(p, w, func(w *message.Words) string {
			return w.Escalation(d.nameOf(v.Person), d.inWords(ctx, w, v, decision), v.State != ledger.Failed)
		})
		if !p.BreaksQuiet {
			r.NotBefore = p.Quiet.End(now.In(site.Zone))
		}
		to = append(to, r)
	}
	return to, nil
}

// inWords is what a message says in somebody else's words: as it was written where they
// read the same, and anew where they do not.
func (d *Daemon) inWords(ctx context.Context, w *message.Words, v *ledger.Delivery, decision *alerts.Decision) string {
	was, err := d.Words(d.readerOf(v.Person))
	if o := d.Outlook(ctx, v.Site); o != nil && (err != nil || was.Language() != w.Language()) {
		return w.Alert(decision, o)
	}
	return v.Words
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
