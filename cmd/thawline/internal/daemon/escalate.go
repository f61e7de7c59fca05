package daemon

import (
	"cmp"
	"context"
	"fmt"
	"maps"
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
	LeastAnswerTime = 10 * time.Minute
	mostAnswerTime  = time.Hour
)

// answerTime is how long a message waits for an answer before keepers hear of it: a third
// of the time that was left when it was sent, so that they can still do something.
func answerTime(d *alerts.Decision, sentAt time.Time) time.Duration {
	deadline := d.Facts.At
	if deadline.IsZero() {
		deadline = d.Until
	}
	return min(max(deadline.Sub(sentAt)/3, LeastAnswerTime), mostAnswerTime)
}

// escalate looks for urgent messages that nobody has acknowledged and tells the
// keepers who did not get them, each message once, and whoever is left where it reaches none of
// those. Where people have no way to acknowledge only what could not be delivered goes on. Of bushes where no other keeper is left,
// whoever watches more than a handful hears, and of all of those together.
func (d *Daemon) escalate(ctx context.Context, now time.Time) {
	d.mu.Lock()
	link, sites := d.settings.Link, d.sites
	maps.DeleteFunc(d.lookAgain, func(_ string, at time.Time) bool { return !now.Before(at) || at.Sub(now) > officeEvery })
	later := maps.Clone(d.lookAgain)
	d.mu.Unlock()
	open, err := d.Ledger.Unescalated(ctx, now.Add(-LeastAnswerTime), now)
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
	next := map[string]time.Time{} // else each of thousands is read anew at every look
	defer d.lookLater(next)
	var all []ledger.Telling
	var forOffice []unanswered
	inOffice := map[string]bool{} // decisions
	for i := range open {
		v := &open[i]
		site := sites[v.Site]
		if site == nil || now.Before(later[v.ID]) {
			continue // taken out of the settings since, or not yet
		}
		u, err := d.silence(ctx, v, site, next, now)
		if u != nil && d.watchMany(u.hear) {
			if now.Sub(v.MadeAt) >= LeastAnswerTime && !inOffice[v.DecisionID] { // of a moment's many bushes all are told of at once
				inOffice[v.DecisionID] = true
				forOffice = append(forOffice, *u)
			}
			continue
		}
		if u != nil {
			u.telling.To, err = d.escalated(ctx, site, v, u.decision, u.hear, now)
		}
		if err != nil {
			d.Log.Error("an escalation can't be made", "decision", v.DecisionID, "error", err)
			return
		}
		if u != nil && len(u.telling.To) > 0 {
			all = append(all, u.telling)
		}
	}
	if len(all) > 0 {
		if _, err := d.Ledger.RecordAll(ctx, all, now); err != nil {
			d.Log.Error("an escalation was not recorded", "error", err)
		}
	}
	if err := d.tellOffice(ctx, forOffice, next, now); err != nil {
		d.Log.Error("an escalation was not recorded", "error", err)
	}
}

// silence is an urgent message that nobody has answered in time and who hears of that, nil where
// nobody does or need; next notes when it is looked at again.
func (d *Daemon) silence(ctx context.Context, v *ledger.Delivery, site *forecast.Site, next map[string]time.Time,
	now time.Time) (*unanswered, error) {
	decision, _, copies, err := d.Ledger.Decision(ctx, v.DecisionID)
	if err != nil {
		return nil, err
	}
	wait := answerTime(&decision, v.SentAt)
	if v.State != ledger.Failed && now.Sub(v.SentAt) < wait {
		next[v.ID] = v.SentAt.Add(wait)
		return nil, nil
	}
	next[v.ID] = now.Add(LeastAnswerTime)
	if d.OfPulled(ctx, v, now) || decision.Overtaken(d.Outlook(ctx, v.Site)) {
		return nil, nil // somebody has been there, said or not
	}
	passed, to, err := d.Ledger.Escalated(ctx, v.Site, v.DecisionID) // which reached nobody
	if err != nil {
		return nil, err
	}
	keepers, err := d.keepersWithout(ctx, site, append(copies, to...), now)
	hear := d.ofOneBush(&decision, keepers)
	if err != nil || len(hear) == 0 {
		return nil, err
	}
	delete(next, v.ID)
	why := "nobody has said within " + wait.Round(time.Minute).String() + " that they have seen it"
	switch {
	case v.Beyond():
		why = "the bush has nobody who gets messages"
	case v.State == ledger.Failed:
		why = "it could not be delivered"
	}
	return &unanswered{ledger.Telling{Decision: alerts.Decision{Kind: alerts.Escalation, Site: v.Site,
		Key: ledger.EscalationOf(cmp.Or(passed, v.DecisionID)), Until: v.Until, Why: []string{why}}}, v, &decision, site, hear}, nil
}

// lookLater notes when deliveries are looked at again.
func (d *Daemon) lookLater(next map[string]time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.lookAgain == nil {
		d.lookAgain = map[string]time.Time{}
	}
	maps.Copy(d.lookAgain, next)
}

// keepersWithout are the keepers of a site who did not get a message, and want to hear: that
// its person has not answered, or could not be reached.
func (d *Daemon) keepersWithout(ctx context.Context, site *forecast.Site, copies []ledger.Delivery,
	now time.Time) ([]*channel.Person, error) {
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
	return keepers, nil
}

// escalated are people with the words of one message that is not answered.
func (d *Daemon) escalated(ctx context.Context, site *forecast.Site, v *ledger.Delivery, decision *alerts.Decision, hear []*channel.Person,
	now time.Time) (to []ledger.Recipient, err error) {
	for _, p := range hear {
		w, err := d.Words(p.Reader)
		if err != nil {
			return nil, err
		}
		r := d.recipient(p, w, func(w *message.Words) string {
			text := d.InWords(ctx, w, v, decision)
			late := decision.Kind.OfGroup() && !decision.Facts.At.IsZero() && !now.Before(decision.Facts.At)
			if v.Beyond() {
				return w.ToNobody(site.Name, text, late)
			}
			return w.Escalation(d.nameOf(v.Person), text, v.State != ledger.Failed, late)
		})
		if !p.BreaksQuiet {
			r.NotBefore = p.Quiet.End(now.In(site.Zone))
		}
		to = append(to, r)
	}
	return to, nil
}

// officeEvery is how often an office hears of what is not answered, at most: on the day of a big
// run hundreds of members may be silent, and somebody can still do something after an hour.
const officeEvery = time.Hour

// unanswered is an urgent message that is not answered, of a bush without another keeper.
type unanswered struct {
	telling  ledger.Telling // without people: that it was told
	delivery *ledger.Delivery
	decision *alerts.Decision
	site     *forecast.Site
	hear     []*channel.Person // who watches more than a handful
}

// watchMany reports whether those who hear of one bush watch more than a handful.
func (d *Daemon) watchMany(hear []*channel.Person) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(hear) > 0 && hear[0].Summed(len(d.settings.Sites))
}

// tellOffice tells each of those who watch many bushes of all that is not answered, in one
// message and not again for an hour: what comes meanwhile waits for the next, as is noted. The message is
// recorded first: where a daemon ends in between it comes again, and nothing is lost.
func (d *Daemon) tellOffice(ctx context.Context, list []unanswered, next map[string]time.Time, now time.Time) error {
	of := map[string][]unanswered{}
	var people []*channel.Person
	for i := range list {
		for _, p := range list[i].hear {
			if of[p.ID] == nil {
				people = append(people, p)
			}
			of[p.ID] = append(of[p.ID], list[i])
		}
	}
	said := map[string]ledger.Telling{} // what somebody has heard of now
	for _, p := range people {
		mine := of[p.ID]
		begins := "office:" + p.ID + ":"
		_, at, told, err := d.Ledger.Memory(ctx).Last("", alerts.Escalation, begins)
		if err != nil {
			return err
		}
		if told && now.Sub(at) < officeEvery {
			for i := range mine {
				if id := mine[i].delivery.ID; next[id].IsZero() || at.Add(officeEvery).Before(next[id]) {
					next[id] = at.Add(officeEvery)
				}
			}
			continue
		}
		words, err := d.Words(p.Reader)
		if err != nil {
			return err
		}
		slices.SortStableFunc(mine, func(a, b unanswered) int { return a.delivery.Until.Compare(b.delivery.Until) })
		var to []ledger.Recipient
		if first := &mine[0]; len(mine) == 1 {
			to, err = d.escalated(ctx, first.site, first.delivery, first.decision, []*channel.Person{p}, now)
			if err != nil {
				return err
			}
		} else {
			to = []ledger.Recipient{d.recipient(p, words, func(w *message.Words) string { return w.Unanswered(d.silentBushes(mine)) })}
			if !p.BreaksQuiet {
				to[0].NotBefore = p.Quiet.End(now.In(first.site.Zone))
			}
		}
		until := mine[len(mine)-1].delivery.Until
		fresh, err := d.Ledger.Record(ctx, alerts.Decision{Kind: alerts.Escalation,
			Key:   string(alerts.Escalation) + ":" + begins + now.UTC().Format("2006-01-02T15"),
			Until: until, Why: []string{fmt.Sprintf("%d urgent messages are not answered, of bushes without another keeper", len(mine))}}, to, now)
		if err != nil {
			return err
		}
		for i := range mine {
			if fresh {
				said[mine[i].delivery.ID] = mine[i].telling
			}
		}
	}
	if len(said) == 0 {
		return nil
	}
	_, err := d.Ledger.RecordAll(ctx, slices.Collect(maps.Values(said)), now)
	return err
}

// silentBushes are the bushes of messages that are not answered, each once: those that have
// nobody who gets messages by themselves.
func (d *Daemon) silentBushes(list []unanswered) message.Silent {
	var s message.Silent
	of, unreached := map[string]bool{}, map[string]bool{}
	for i := range list {
		one := &list[i]
		if one.delivery.State == ledger.Failed && !one.delivery.Beyond() {
			unreached[one.site.ID] = true
		}
		if of[one.site.ID] {
			continue
		}
		of[one.site.ID] = true
		if one.delivery.Beyond() {
			s.Untellable = append(s.Untellable, one.site.Name)
		} else {
			s.Bushes = append(s.Bushes, one.site.Name)
		}
	}
	s.Unreached = len(unreached)
	return s
}

// InWords is what a message says in somebody else's words: as it was written where they
// read the same, and anew where they do not, or where the hour that it names is past.
func (d *Daemon) InWords(ctx context.Context, w *message.Words, v *ledger.Delivery, decision *alerts.Decision) string {
	was, err := d.Words(d.readerOf(v.Person))
	past := func(o *forecast.Outlook) bool {
		return !decision.Facts.At.IsZero() && !decision.Facts.At.After(o.IssuedAt)
	}
	if o := d.Outlook(ctx, v.Site); o != nil && (err != nil || was.Language() != w.Language() || past(o)) {
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
