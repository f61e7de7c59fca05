package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/chart"
)

// decide asks the rules and records what is new.
func (d *Daemon) decide(ctx context.Context, site *forecast.Site, o *forecast.Outlook, at alerts.Moment) error {
	_, thresholds, err := d.Thresholds(ctx, site.ID, at.Now)
	if err != nil {
		return err
	}
	list, err := alerts.Decide(o, d.Ledger.Memory(ctx), at, thresholds)
	if err != nil {
		return err
	}
	var faults []error
	for _, decision := range list {
		faults = append(faults, d.record(ctx, site, decision, at.Now, func(w *message.Words) string { return w.Alert(&decision, o) }))
	}
	return errors.Join(faults...)
}

// stopped says in the evening that no weather is left to go by, once a day.
func (d *Daemon) stopped(ctx context.Context, site *forecast.Site, now time.Time, why error) error {
	last := d.Outlook(ctx, site.ID)
	var since time.Time
	if last != nil {
		since = last.Source.IssuedAt.In(site.Zone)
	}
	today := now.In(site.Zone).Format(time.DateOnly)
	decision := alerts.Decision{Kind: alerts.NoForecast, Site: site.ID, Key: string(alerts.NoForecast) + ":" + today, Until: now.Add(6 * time.Hour), Why: []string{why.Error()}}
	return d.record(ctx, site, decision, now, func(w *message.Words) string { return w.Stopped(site.Name, since) })
}

func (d *Daemon) record(ctx context.Context, site *forecast.Site, decision alerts.Decision, now time.Time, words func(*message.Words) string) error {
	d.mu.Lock()
	people, link := slices.Concat(d.people[""], d.people[site.ID]), d.settings.Link
	d.mu.Unlock()
	var hear []*channel.Person
	for _, p := range people {
		if !decision.Kind.HeardBy(p.Role) {
			continue
		}
		hears, err := d.hears(ctx, p, now)
		if err != nil {
			return err
		}
		if hears {
			hear = append(hear, p)
		}
	}
	isCrew := func(p *channel.Person) bool { return auth.Role(p.Role) == auth.Crew }
	if decision.Urgent && link != "" && slices.ContainsFunc(hear, isCrew) { // keepers hear of it if the crew does not answer
		hear = slices.DeleteFunc(hear, func(p *channel.Person) bool { return !isCrew(p) })
	}
	var to []ledger.Recipient
	for _, p := range hear {
		w, err := d.Words(p.Reader)
		if err != nil {
			return err
		}
		r := ledger.Recipient{Person: p.ID, Words: words(w)}
		if !decision.Urgent || !p.BreaksQuiet {
			r.NotBefore = p.Quiet.End(now.In(site.Zone))
		}
		to = append(to, r)
	}
	key := site.ID + " " + decision.Key
	if d.toldAnyway(key) {
		to = nil
	}
	fresh, err := d.Ledger.Record(ctx, decision, to, now)
	if err != nil {
		d.tellAnyway(ctx, site, &decision, to, now)
		return err
	}
	d.recorded(key)
	if fresh {
		d.Metrics.Decided(site.ID, decision.Kind)
		d.Log.Info("decided", "kind", decision.Kind, "site", site.ID, "key", decision.Key, "people", len(to))
	}
	return nil
}

// hears reports whether a person wants to be told anything now, and can be.
func (d *Daemon) hears(ctx context.Context, p *channel.Person, now time.Time) (bool, error) {
	if len(p.Ways) == 0 || now.Before(p.PausedUntil) {
		return false, nil
	}
	silenced, err := d.Ledger.Silenced(ctx, p.ID, now)
	return !silenced, err
}

// peopleBySite finds whom a site concerns; under "" stand those whom all do.
func peopleBySite(people []channel.Person) map[string][]*channel.Person {
	by := map[string][]*channel.Person{}
	for i := range people {
		p := &people[i]
		if p.Sites == nil {
			by[""] = append(by[""], p)
		}
		for _, site := range p.Sites {
			by[site] = append(by[site], p)
		}
	}
	return by
}

const (
	batch        = 100
	firstWait    = 30 * time.Second
	longestWait  = 30 * time.Minute
	triesPerWay  = 3
	sendDeadline = 45 * time.Second
	senders      = 8 // messages on their way at a time
	// lease is how long a daemon that does not come back keeps work from others:
	// longer than a message takes.
	lease = 2 * time.Minute
)

// deliver tries what is due.
func (d *Daemon) deliver(ctx context.Context, now time.Time) {
	for ctx.Err() == nil {
		began := d.clock(now)
		due, err := d.Ledger.Claim(ctx, d.Holder, began, began.Add(lease), batch)
		if err != nil {
			d.Log.Error("the ledger can't be read", "error", err)
			return
		}
		var group errgroup.Group
		group.SetLimit(senders)
		for i := range due {
			group.Go(func() error {
				d.claimed(ctx, &due[i], now)
				return nil
			})
		}
		_ = group.Wait()
		if len(due) < batch {
			return
		}
	}
}

// claimed tries a delivery that this daemon has taken, if it still has it.
func (d *Daemon) claimed(ctx context.Context, v *ledger.Delivery, now time.Time) {
	if ctx.Err() != nil {
		return
	}
	at := d.clock(now)
	ours, err := d.Ledger.Renew(ctx, v.ID, d.Holder, at, at.Add(lease))
	if err == nil && ours {
		err = d.try(ctx, v, at)
	}
	switch {
	case errors.Is(err, ledger.ErrTaken):
		d.Log.Warn("another daemon took a delivery over while it was tried", "delivery", v.ID)
	case err != nil:
		d.Log.Error("a delivery was not recorded", "delivery", v.ID, "error", err)
	}
}

// try makes one attempt and works out what is to come: the same way again after
// a growing wait, the next way once one refuses or has been tried often, and an
// end when the message is of no more use.
func (d *Daemon) try(ctx context.Context, v *ledger.Delivery, now time.Time) error {
	attempt := ledger.Attempt{Number: v.Attempts + 1, At: now}
	v.Attempts++
	ways, name := d.waysOf(v)
	end := func(state ledger.State, why string) error {
		v.State = state
		attempt.Channel, attempt.Outcome, attempt.Said = "none", "refused", why
		d.Metrics.Delivered(v, now)
		return d.Ledger.Attempted(ctx, d.Holder, v, attempt)
	}
	if now.After(v.Until) {
		return end(ledger.Expired, "too late to be of use")
	}
	if v.Kind != alerts.Reply { // what somebody asks is answered, and that they stopped is the answer itself
		if silenced, err := d.Ledger.Silenced(ctx, v.Person, now); err != nil || silenced {
			if err != nil {
				return err
			}
			return end(ledger.Expired, "the person wants no messages")
		}
	}
	if len(ways) == 0 {
		return end(ledger.Failed, "the person has no channel any more")
	}
	before, err := d.Ledger.Attempts(ctx, v.ID)
	if err != nil {
		return err
	}
	at, open := willing(ways, v.Channel, before)
	if !open {
		return end(ledger.Failed, "every channel of the person has refused")
	}
	v.Channel = at
	way := ways[at]
	attempt.Channel = way.Channel
	said, err := d.sendOnce(ctx, v, way, name)
	outcome, wait := channel.Outcome(err)
	if err == nil {
		v.State, v.SentAt = ledger.Sent, now
		attempt.Outcome, attempt.Said = "accepted", said
	} else {
		attempt.Outcome, attempt.Said = outcome, err.Error()
		v.NextAt = now.Add(max(wait, backOff(v.Attempts)))
		next, open := willing(ways, at+1, append(before, attempt))
		switch {
		case outcome == "refused" && !open:
			v.State = ledger.Failed
		case outcome == "refused":
			v.Channel = next
			if !slices.ContainsFunc(before, func(a ledger.Attempt) bool { return a.Channel == ways[next].Channel }) {
				v.NextAt = now // at once: it has not been asked yet
			}
		case v.Attempts%triesPerWay == 0 && wait == 0:
			v.Channel = next
		}
	}
	if err != nil {
		d.Log.Warn("an attempt failed", "delivery", v.ID, "channel", way.Channel, "outcome", attempt.Outcome, "said", attempt.Said)
	}
	d.Metrics.Attempted(way.Channel, attempt.Outcome)
	if v.State != ledger.Waiting {
		d.Metrics.Delivered(v, now)
	}
	err = d.Ledger.Attempted(ctx, d.Holder, v, attempt)
	if err == nil {
		d.accepted.Delete(v.ID)
	}
	return err
}

// willing finds the first way, from one on and round, that has not refused a
// delivery; false if all have.
func willing(ways []channel.Way, from int, tries []ledger.Attempt) (at int, found bool) {
	for i := range ways {
		at = (from + i) % len(ways)
		if !slices.ContainsFunc(tries, func(a ledger.Attempt) bool { return a.Outcome == "refused" && a.Channel == ways[at].Channel }) {
			return at, true
		}
	}
	return 0, false
}

func backOff(attempts int) time.Duration {
	return min(firstWait<<min(attempts-1, 10), longestWait)
}

func (d *Daemon) waysOf(v *ledger.Delivery) (ways []channel.Way, name string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[v.Person]; p != nil {
		ways = p.Ways
	}
	name = v.Site
	if s := d.sites[v.Site]; s != nil {
		name = s.Name
	}
	return ways, name
}

func (d *Daemon) send(ctx context.Context, v *ledger.Delivery, way channel.Way, name string) (said string, err error) {
	d.mu.Lock()
	c, link := d.settings.Channels[way.Channel], d.settings.Link
	d.mu.Unlock()
	if c == nil {
		return "", &channel.Refusal{Said: "there is no channel " + way.Channel, Permanent: true}
	}
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("panic: %v", r)
		}
	}()
	ctx, cancel := context.WithTimeout(ctx, sendDeadline)
	defer cancel()
	w, err := d.Words(d.readerOf(v.Person))
	if err != nil {
		return "", err
	}
	m := channel.Message{Key: v.ID, To: way.To, Person: v.Person, Site: v.Site, Name: name, Text: v.Words, Kind: v.Kind, Urgent: v.Urgent, MadeAt: v.MadeAt, Until: v.Until, Language: w.Language()}
	if v.Kind == alerts.Evening {
		m.Picture = func() []byte { return d.picture(ctx, v) }
	}
	if link != "" {
		m.AckLink, m.AckWords = link+"/a/"+v.ID, w.Say("email_seen", nil)
	}
	return c.Send(ctx, m)
}

// readerOf is how a person reads.
func (d *Daemon) readerOf(person string) message.Reader {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[person]; p != nil {
		return p.Reader
	}
	return message.Reader{}
}

// picture is the outlook that an evening text speaks of, in the person's words;
// nil where it is not at hand any more.
func (d *Daemon) picture(ctx context.Context, v *ledger.Delivery) []byte {
	o := d.Outlook(ctx, v.Site)
	if o == nil {
		return nil
	}
	w, err := d.Words(d.readerOf(v.Person))
	if err != nil {
		return nil
	}
	png, err := chart.Outlook(o, nil, w.ChartLabels(o.Bush.Name), chart.Wide).PNG()
	if err != nil {
		d.Log.Warn("no picture for an e-mail", "error", err)
		return nil
	}
	return png
}
