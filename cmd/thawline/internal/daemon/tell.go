package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast/chart"
)

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
		d.delivered(v, now)
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
	if over, err := d.overtaken(ctx, v); err != nil || over {
		if err != nil {
			return err
		}
		return end(ledger.Expired, "somebody has been to the group since")
	}
	if d.OfPulled(ctx, v, now) {
		return end(ledger.Expired, "the taps of its group are pulled")
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
	if v.With, err = d.carriedBy(ctx, v, now); err != nil {
		return err
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
		d.delivered(v, now)
	}
	err = d.Ledger.Attempted(ctx, d.Holder, v, attempt)
	if err == nil {
		d.accepted.Delete(v.ID)
	}
	return err
}

// carriedBy are the deliveries whose words go with one's own, as far as they are of use
// and still so: the others expire by themselves, once this one is done.
func (d *Daemon) carriedBy(ctx context.Context, v *ledger.Delivery, now time.Time) ([]ledger.Delivery, error) {
	with, err := d.Ledger.CarriedBy(ctx, v.ID)
	with = slices.DeleteFunc(with, func(w ledger.Delivery) bool {
		over, fault := d.overtaken(ctx, &w)
		err = errors.Join(err, fault)
		return over || now.After(w.Until) || d.OfPulled(ctx, &w, now)
	})
	return with, err
}

// delivered counts a message that came to an end, and what went with it.
func (d *Daemon) delivered(v *ledger.Delivery, now time.Time) {
	d.Metrics.Delivered(v, now)
	for i := range v.With {
		v.With[i].State = v.State
		d.Metrics.Delivered(&v.With[i], now)
	}
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
	deadline := sendDeadline
	if p, slow := c.(channel.Patient); slow {
		deadline = max(deadline, p.Patience())
	}
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	w, err := d.Words(d.readerOf(v.Person))
	if err != nil {
		return "", err
	}
	m := messageOf(w, v, name)
	m.To, m.Language = way.To, w.Language()
	m.Acknowledge = func(ctx context.Context) error { return d.Ledger.Acknowledge(ctx, v.ID, d.clock(v.NextAt)) }
	if m.Says(alerts.Evening) {
		m.Picture = func() []byte { return d.picture(ctx, v) }
	}
	if link != "" {
		m.AckLink, m.AckWords = link+"/a/"+v.ID, w.Say("email_seen", nil)
	}
	return c.Send(ctx, m)
}

// messageOf is what goes out of a delivery and those that go with it: what is urgent comes
// first, the rest in the order in which it was decided.
func messageOf(w *message.Words, v *ledger.Delivery, name string) channel.Message {
	parts := append([]ledger.Delivery{*v}, v.With...)
	slices.SortStableFunc(parts, func(a, b ledger.Delivery) int {
		if a.Urgent != b.Urgent {
			if a.Urgent {
				return -1
			}
			return 1
		}
		return strings.Compare(a.DecisionID, b.DecisionID) // which rise with time
	})
	m := channel.Message{Key: v.ID, Person: v.Person, Site: v.Site, Name: name, Kind: parts[0].Kind, Urgent: parts[0].Urgent, MadeAt: v.MadeAt, Until: v.Until}
	var texts, texted, spoken []string
	for i := range parts {
		texts = append(texts, parts[i].Words)
		texted = append(texted, cmp.Or(parts[i].Texted, parts[i].Words))
		spoken = append(spoken, cmp.Or(parts[i].Spoken, w.ReadAloud(parts[i].Words)))
		m.Kinds = append(m.Kinds, parts[i].Kind)
		if parts[i].Until.After(m.Until) {
			m.Until = parts[i].Until
		}
	}
	m.Text, m.Texted = w.Joint(name, texts), w.In(message.Texted).Joint(name, texted)
	m.Spoken = w.JointAloud(spoken)
	if m.Urgent {
		m.Spoken += " " + w.HowToSay()
	}
	return m
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
