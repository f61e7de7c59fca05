package daemon

import (
	"context"
	"slices"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/inbound"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast"
)

// addressee is for which of a writer's bushes a text is; without a site for nobody can
// tell which of bushes.
type addressee struct {
	person *channel.Person
	site   *forecast.Site
	bushes []*forecast.Site
}

// digitsOf are those of a number; "" for what is none.
func digitsOf(number string) string {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, number)
	if len(digits) < 7 {
		return ""
	}
	return strings.TrimPrefix(digits, "00")
}

// peopleByNumber finds people by the digits of their numbers.
func peopleByNumber(people []channel.Person) map[string][]*channel.Person {
	out := map[string][]*channel.Person{}
	for i := range people {
		for _, way := range people[i].Ways {
			number := digitsOf(way.To)
			if strings.HasPrefix(way.To, "+") && number != "" && !slices.Contains(out[number], &people[i]) {
				out[number] = append(out[number], &people[i])
			}
		}
	}
	return out
}

// aboutWriter are the kinds of text that are about whoever writes, not about a bush.
var aboutWriter = []inbound.Kind{inbound.Stop, inbound.Start, inbound.Pause}

// aboutLast are those that answer what was last sent.
var aboutLast = []inbound.Kind{inbound.Seen, inbound.Yes, inbound.No, inbound.Help}

// addressed finds who writes, by the number, and for which bush: the one that the address
// is of, the only one, the one that the text begins with, or for an answer the one that
// was last written about. What is about the writer counts for everybody who has the
// number. Where nobody can tell, nothing is taken for any bush. The text comes back
// without the name of the bush.
func (d *Daemon) addressed(ctx context.Context, site *forecast.Site, from, text string) (to []addressee, rest string) {
	d.mu.Lock()
	people := slices.Clone(d.byNumber[digitsOf(from)])
	sites := d.settings.Sites
	d.mu.Unlock()
	var all []addressee
	for _, p := range people {
		if site != nil {
			if p.Concerns(site.ID) {
				all = append(all, addressee{person: p, site: site})
			}
			continue
		}
		for i := range sites {
			if p.Concerns(sites[i].ID) {
				all = append(all, addressee{person: p, site: &sites[i]})
			}
		}
	}
	if len(all) == 0 {
		return nil, text
	}
	kind := d.lexicon.Load().Understand(text, []inbound.Group{{ID: all[0].site.ID, Name: all[0].site.Name}},
		all[0].person.Reader.Units).Kind
	switch {
	case len(all) == 1:
		return all, text
	case slices.Contains(aboutWriter, kind):
		for _, a := range all {
			if !slices.ContainsFunc(to, func(b addressee) bool { return b.person == a.person }) {
				to = append(to, a)
			}
		}
		return to, text
	case site != nil:
		return all[:1], text
	}
	if one, rest := named(all, text); one != nil {
		return []addressee{*one}, rest
	}
	if slices.Contains(aboutLast, kind) {
		if one := d.lastTold(ctx, all); one != nil {
			return []addressee{*one}, text
		}
		return all[:1], text
	}
	ask := addressee{person: all[0].person}
	for _, a := range all {
		if !slices.Contains(ask.bushes, a.site) {
			ask.bushes = append(ask.bushes, a.site)
		}
	}
	if len(ask.bushes) == 1 { // two people of one house and one bush
		return all[:1], text
	}
	return []addressee{ask}, text
}

// named is the bush whose id or name a text begins with, the longest that fits, and what
// follows it.
func named(all []addressee, text string) (one *addressee, rest string) {
	trimmed := strings.TrimSpace(text)
	longest := 0
	for i := range all {
		for _, name := range []string{all[i].site.ID, all[i].site.Name} {
			if len(name) <= longest || len(trimmed) < len(name) || !strings.EqualFold(trimmed[:len(name)], name) {
				continue
			}
			after := trimmed[len(name):]
			if cut := strings.TrimLeft(after, " :,;"); cut != after || after == "" {
				one, rest, longest = &all[i], cut, len(name)
			}
		}
	}
	return one, rest
}

// lastTold is the one of them who was written to last.
func (d *Daemon) lastTold(ctx context.Context, all []addressee) *addressee {
	var newest ledger.Delivery
	var one *addressee
	for i := range all {
		v, err := d.Ledger.Newest(ctx, all[i].person.ID)
		if err == nil && v.Site == all[i].site.ID && v.SentAt.After(newest.SentAt) {
			newest, one = v, &all[i]
		}
	}
	return one
}

// askWhich asks somebody of several bushes which one a text is for.
func (d *Daemon) askWhich(ctx context.Context, p *channel.Person, bushes []*forecast.Site, text, id string, now time.Time) error {
	w, err := d.Words(p.Reader)
	if err != nil {
		return err
	}
	key, known, err := d.keyOfText(ctx, bushes[0].ID, p.ID, text, id, now)
	if err != nil || known {
		return err
	}
	var names []string
	for _, s := range bushes[:min(len(bushes), mostAsked)] {
		names = append(names, s.ID)
	}
	decision := alerts.Decision{Kind: alerts.Reply, Site: bushes[0].ID, Key: key, Until: now.Add(time.Hour),
		Why: []string{"somebody wrote, and of several bushes"}}
	say := func(w *message.Words) string {
		return w.Say("reply_which_bush", map[string]any{"Bushes": strings.Join(names, ", "), "Example": names[0]})
	}
	_, err = d.Ledger.Record(ctx, decision, []ledger.Recipient{d.recipient(p, w, say)}, now)
	return err
}

// mostAsked is how many bushes a text has room to name.
const mostAsked = 6
