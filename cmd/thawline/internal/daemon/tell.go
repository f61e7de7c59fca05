package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast/chart"
)

const (
	triesPerWay  = 3
	sendDeadline = 45 * time.Second
	// lease is how long a daemon that does not come back keeps a message from others:
	// longer than one takes.
	lease = 2 * time.Minute
	// longestHold is how long a message may wait here for its place in a channel's pace;
	// one that would wait longer is looked at again.
	longestHold = 10 * time.Second
	// ledgerAgain is when a message is looked at again whose row could not be read or
	// written: a database that is begun anew is soon back.
	ledgerAgain = 2 * time.Second
)

// deliver tries what is due.
func (d *Daemon) deliver(ctx context.Context, now time.Time) {
	d.at(now)
	d.local.Drain(ctx, now.Add(ledger.JoinWithin), isOutbox)
}

// ringAgain sets jobs again, once a minute, for messages that should have been sent: a job
// may have been lost, or an older release have written them. The first time it takes all.
func (d *Daemon) ringAgain(ctx context.Context, now time.Time) {
	const every, late = time.Minute, 2 * time.Minute
	at := d.clock(now)
	d.mu.Lock()
	first, soon := d.rang.IsZero(), at.Sub(d.rang).Abs() < every
	if !soon {
		d.rang = at
	}
	d.mu.Unlock()
	before := at.Add(-late)
	if first {
		before = at.AddDate(1, 0, 0)
	}
	if soon {
		return
	}
	if _, err := d.outbox().RingAgain(ctx, before, at); err != nil && ctx.Err() == nil {
		d.Log.Error("the ledger can't be read", "error", err)
	}
}

func (d *Daemon) outbox() *ledger.Ledger {
	if d.Outbox != nil {
		return d.Outbox
	}
	return d.Ledger
}

// outboxOf is the queue in which a person's messages wait: that of the first channel.
func (d *Daemon) outboxOf(person string) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[person]; p != nil && len(p.Ways) > 0 {
		return outboxOf + p.Ways[0].Channel
	}
	return outboxOf
}

// deliverOne tries the message that a job rings for, if it is still to be sent and nobody
// else has it in hand.
func (d *Daemon) deliverOne(ctx context.Context, j engine.Job, _ time.Time) engine.Result {
	now := d.clock(d.moment())
	v, taken, err := d.outbox().Take(ctx, j.Key, d.Holder, now, now.Add(lease))
	switch {
	case errors.Is(err, ledger.ErrNone):
		return engine.Done() // cleared away
	case errors.Is(err, ledger.ErrTaken):
		return engine.Elsewhere()
	case err != nil:
		return engine.Again(ledgerAgain, err)
	case !taken && v.State == ledger.Waiting && v.GoesWith == "":
		return engine.Again(v.NextAt.Sub(now), nil)
	case !taken:
		return engine.Done() // sent, or goes with another
	}
	return d.claimed(ctx, &v, j.Queue)
}

// claimed tries a message that this daemon has taken, and says when its job rings again.
func (d *Daemon) claimed(ctx context.Context, v *ledger.Delivery, queue string) engine.Result {
	ways, _ := d.waysOf(v)
	if len(ways) > 0 && outboxOf+ways[v.Channel%len(ways)].Channel != queue { // the settings have changed, or another way is next
		return engine.Result{Outcome: engine.IsAgain, Queue: outboxOf + ways[v.Channel%len(ways)].Channel}
	}
	now := d.clock(d.moment())
	held, err := d.try(ctx, v, now)
	switch {
	case errors.Is(err, ledger.ErrTaken):
		d.Log.Warn("another daemon took a delivery over while it was tried", "delivery", v.ID)
		return engine.Elsewhere()
	case ctx.Err() != nil:
		return engine.Again(0, nil)
	case err != nil:
		return engine.Again(ledgerAgain, fmt.Errorf("delivery %s was not recorded: %w", v.ID, err))
	case held > 0:
		return engine.Again(held, nil)
	case v.State != ledger.Waiting:
		return engine.Done()
	}
	next := engine.Again(max(v.NextAt.Sub(now), 0), nil)
	if len(ways) > 0 {
		next.Queue = outboxOf + ways[v.Channel%len(ways)].Channel
	}
	return next
}

// try makes one attempt and works out what is to come: the same way again after
// a growing wait, the next way once one refuses or has been tried often, and an
// end when the message is of no more use. One that has to wait long for its channel is
// held, and not tried.
func (d *Daemon) try(ctx context.Context, v *ledger.Delivery, now time.Time) (held time.Duration, err error) {
	attempt := ledger.Attempt{Number: v.Attempts + 1, At: now}
	v.Attempts++
	ways, name := d.waysOf(v)
	end := func(state ledger.State, why string) (time.Duration, error) {
		v.State = state
		attempt.Channel, attempt.Outcome, attempt.Said = "none", "refused", why
		d.delivered(v, now)
		return 0, d.outbox().Attempted(ctx, d.Holder, v, attempt)
	}
	still := d.remakes.still(v.Site, v.Changes, v.MadeAt) // then nobody has been there, and no taps were pulled
	why, err := d.noUse(ctx, v, still, now)
	if err != nil {
		return 0, err
	}
	switch {
	case v.Urgent && (why == wantsNone || why == noMorePerson):
		return end(ledger.Failed, why) // somebody else has to hear of it
	case why != "":
		return end(ledger.Expired, why)
	}
	if len(ways) == 0 {
		return end(ledger.Failed, "the person has no channel any more")
	}
	before := v.Tried
	at, open := willing(ways, v.Channel, before)
	if !open {
		return end(ledger.Failed, "every channel of the person has refused")
	}
	if v.With, err = d.carried(ctx, v.Carried, still, now); err != nil {
		return 0, err
	}
	v.Channel = at
	way := ways[at]
	attempt.Channel = way.Channel
	if held, err = d.awaitPace(ctx, way.Channel, now); err != nil || held > 0 {
		v.Attempts--
		return held, err
	}
	if now = d.clock(now); now.After(v.Until) {
		return end(ledger.Expired, "too late to be of use")
	}
	said, err := d.sendOnce(ctx, v, way, name)
	now = d.clock(now)
	outcome, wait := channel.Outcome(err)
	d.restChannel(ctx, way.Channel, wait, now)
	if err == nil {
		v.State, v.SentAt = ledger.Sent, now
		attempt.Outcome, attempt.Said = "accepted", said
	} else {
		attempt.Outcome, attempt.Said = outcome, err.Error()
		v.NextAt = now.Add(waitAfter(v, wait))
		whereNext(v, ways, at, append(before, attempt), wait, now)
		d.Log.Warn("an attempt failed", "delivery", v.ID, "channel", way.Channel, "outcome", attempt.Outcome, "said", attempt.Said)
	}
	d.Metrics.Attempted(way.Channel, attempt.Outcome)
	if v.State != ledger.Waiting {
		d.delivered(v, now)
	}
	if err = d.noted(ctx, v, attempt); err == nil {
		d.accepted.Delete(v.ID)
	}
	return 0, err
}

// noted records an attempt. That a channel took a message is written again at once and a
// moment later if it can't be: its job belongs to all daemons, and one that has the next turn
// and does not know of it would send the message again once the lease has run out.
func (d *Daemon) noted(ctx context.Context, v *ledger.Delivery, a ledger.Attempt) error {
	err := d.outbox().Attempted(ctx, d.Holder, v, a)
	for _, wait := range []time.Duration{0, ledgerAgain / 4} {
		if err == nil || v.State != ledger.Sent || errors.Is(err, ledger.ErrTaken) {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(wait):
		}
		err = d.outbox().Attempted(ctx, d.Holder, v, a)
	}
	return err
}

// Why a message does not go to its person, whoever else may need it.
const (
	wantsNone    = "the person wants no messages"
	noMorePerson = "the person is in the settings no more"
)

// noUse says why a message is of no use any more, "" while it is. still means that nothing
// was written down since the outlook that it was made from.
func (d *Daemon) noUse(ctx context.Context, v *ledger.Delivery, still bool, now time.Time) (why string, err error) {
	if now.After(v.Until) {
		return "too late to be of use", nil
	}
	if v.Silenced && v.Kind != alerts.Reply { // what somebody asks is answered, and that they stopped is the answer itself
		return wantsNone, nil
	}
	if gone := d.nobodysNow(v, now); gone != "" {
		return gone, nil
	}
	over, err := d.overtaken(ctx, v, still)
	switch {
	case err != nil:
		return "", err
	case over:
		return "somebody has been to the group since", nil
	case !still && d.OfPulled(ctx, v, now):
		return "the taps of its group are pulled", nil
	}
	return "", nil
}

// whereNext decides where a message goes after an attempt by the way numbered at has
// failed, the last of tried, and whether at once: by the next way where it was refused or
// tried often, and nowhere once every way has refused.
func whereNext(v *ledger.Delivery, ways []channel.Way, at int, tried []ledger.Attempt, wait time.Duration, now time.Time) {
	last := len(tried) - 1
	next, open := willing(ways, at+1, tried)
	switch refused := tried[last].Outcome == "refused"; {
	case refused && !open:
		v.State = ledger.Failed
	case refused:
		v.Channel = next
		if !slices.ContainsFunc(tried[:last], func(a ledger.Attempt) bool { return a.Channel == ways[next].Channel }) {
			v.NextAt = now // at once: it has not been asked yet
		}
	case v.Attempts%triesPerWay == 0 && wait == 0:
		v.Channel = next
	}
}

// nobodysNow is why a message that waited is no longer anybody's, "" where it still is: the
// settings no longer have its person or its bush, or the office has paused the person since.
func (d *Daemon) nobodysNow(v *ledger.Delivery, now time.Time) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	p := d.byID[v.Person]
	switch {
	case len(d.settings.LeftOut) > 0: // a mistake keeps somebody out, who comes back
		return ""
	case p == nil:
		return noMorePerson
	case d.sites[v.Site] == nil && v.Site != "":
		return "the bush is in the settings no more"
	case now.Before(p.PausedUntil) && v.Kind != alerts.Reply:
		return wantsNone
	}
	return ""
}

// waitAfter is how long to wait after a try that failed: as long as the other side asks,
// and longer once it has often been asked in vain. People differ in it, and the same one
// waits as long in every replay.
func waitAfter(v *ledger.Delivery, asked time.Duration) time.Duration {
	of := v.Person + " " + v.Site
	own := engine.BackOff(v.Attempts, of)
	if asked <= 0 {
		return own
	}
	if v.Attempts <= triesPerWay {
		own = 0
	}
	return max(asked+engine.Jitter(of, v.Attempts, asked/5), own)
}

// carried are the deliveries whose words go with another's, as far as they are of use: the
// others expire by themselves, once that one is done.
func (d *Daemon) carried(ctx context.Context, with []ledger.Delivery, still bool, now time.Time) ([]ledger.Delivery, error) {
	var err error
	with = slices.DeleteFunc(with, func(w ledger.Delivery) bool {
		over, fault := d.overtaken(ctx, &w, still)
		err = errors.Join(err, fault)
		return over || now.After(w.Until) || !still && d.OfPulled(ctx, &w, now)
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

func (d *Daemon) waysOf(v *ledger.Delivery) (ways []channel.Way, name string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[v.Person]; p != nil {
		ways = p.Ways
	}
	name = cmp.Or(v.Site, "thawline") // of what is about no single bush
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
	_, calls := c.(*channel.Voice)
	m := messageOf(w, v, name, calls, d.ofSeveralGroups(ctx, v))
	m.To, m.Language = way.To, w.Language()
	m.Acknowledge = func(ctx context.Context) error { return d.Ledger.Acknowledge(ctx, v.ID, d.clock(v.NextAt)) }
	if m.Says(alerts.Evening) {
		m.Picture = func() []byte { return d.picture(ctx, v) }
	}
	if link != "" {
		m.AckLink, m.AckWords = link+"/a/"+v.ID, w.Say("email_seen", nil)
		if token, err := Address(ctx, d.Ledger, "stop", v.Person); err == nil {
			m.StopLink = link + "/u/" + token
		}
	}
	// A daemon that was frozen after it took the message wakes long after another has sent
	// it, and before the context's own timer says so.
	if end, bounded := ctx.Deadline(); bounded && !time.Now().Before(end) {
		return "", context.DeadlineExceeded
	}
	return c.Send(ctx, m)
}

// messageOf is what goes out of a delivery and those that go with it: what is urgent comes
// first, the rest in the order in which it was decided, and what says nearly the same of several
// groups is said once. Words for a voice are worked out where it is said aloud.
func messageOf(w *message.Words, v *ledger.Delivery, name string, aloud bool, alike []severalGroups) channel.Message {
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
	m := channel.Message{Key: v.ID, Person: v.Person, Site: v.Site, Name: name, Kind: parts[0].Kind, Urgent: parts[0].Urgent,
		MadeAt: v.MadeAt, Until: v.Until}
	said := slices.Clone(parts)
	for i := range alike {
		said = alike[i].joined(w, said, name)
	}
	var texts, texted, spoken []string
	for i := range said {
		texts = append(texts, said[i].Words)
		texted = append(texted, cmp.Or(said[i].Texted, said[i].Words))
		if s := said[i].Spoken; aloud && s == "" {
			spoken = append(spoken, w.ReadAloud(said[i].Words))
		} else if aloud {
			spoken = append(spoken, s)
		}
	}
	for i := range parts {
		m.Kinds = append(m.Kinds, parts[i].Kind)
		if parts[i].Until.After(m.Until) {
			m.Until = parts[i].Until
		}
	}
	m.Text, m.Texted = w.Joint(name, texts), w.In(message.Texted).Joint(name, texted)
	m.Spoken = w.JointAloud(spoken)
	if m.Urgent && aloud {
		m.Spoken += " " + w.HowToSay()
	}
	return m
}

// readerOf is how a person reads, and nobody as the settings say.
func (d *Daemon) readerOf(person string) message.Reader {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p := d.byID[person]; p != nil {
		return p.Reader
	}
	return d.settings.Usual
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
