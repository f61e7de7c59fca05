package daemon

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/inbound"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/records"
)

// Hear deals with a text that came in for a site, as far as its number is known and the site
// concerns the person. What could not be dealt with to the end may be heard again.
func (d *Daemon) Hear(ctx context.Context, site *forecast.Site, from, text, id string, now time.Time) error {
	_, err := d.HearFrom(ctx, site, from, text, id, now)
	return err
}

// HearFrom is Hear; without a site the text is for the bush of whoever writes. It reports
// false where nobody here has the number.
func (d *Daemon) HearFrom(ctx context.Context, site *forecast.Site, from, text, id string, now time.Time) (known bool, err error) {
	to, text := d.addressed(ctx, site, from, text)
	for _, a := range to {
		if !d.senders.allow(a.person.ID, now) {
			return true, hooks.ErrTooFast
		}
		if a.site == nil {
			err = d.askWhich(ctx, a.person, a.bushes, text, id, now)
		} else {
			err = d.heard(ctx, a.site, a.person, text, id, now)
		}
		if err != nil {
			d.Log.Error("a reply was not dealt with", "person", a.person.ID, "error", err)
			return true, err
		}
	}
	return len(to) > 0, nil
}

// heard does what a text asks for and answers once with what was understood.
func (d *Daemon) heard(ctx context.Context, site *forecast.Site, p *channel.Person, text, id string, now time.Time) error {
	w, err := d.Words(p.Reader)
	if err != nil {
		return err
	}
	key, known, err := d.keyOfText(ctx, site.ID, p.ID, text, id, now)
	if err != nil || known {
		return err
	}
	var groups []inbound.Group
	for _, g := range site.Groups {
		groups = append(groups, inbound.Group{ID: g.ID, Name: g.Name})
	}
	in := &incoming{site: site, person: p, key: key, words: w.Open(), now: now,
		said: d.lexicon.Load().Understand(text, groups, p.Reader.Units)}
	d.understandMore(in, text, groups)
	answer, err := d.answer(ctx, in)
	if err != nil {
		return err
	}
	decision := alerts.Decision{Kind: alerts.Reply, Site: site.ID, Key: key, Until: now.Add(time.Hour),
		Why: []string{"somebody wrote: " + in.said.String()}}
	_, err = d.Ledger.Record(ctx, decision,
		[]ledger.Recipient{d.recipient(p, w, func(w *message.Words) string { return w.Reply(answer) })}, now)
	return err
}

// keyOfText names a text, and reports whether it was dealt with. Where the gateway gives
// it no id, the same words within a minute are one text that came twice, unless the
// person wrote something else between them.
func (d *Daemon) keyOfText(ctx context.Context, site, person, text, id string, now time.Time) (key string, known bool, err error) {
	minute := id == ""
	if minute {
		id = now.UTC().Format("2006-01-02T15:04")
	}
	newest, err := d.Ledger.NewestReply(ctx, person)
	if err != nil {
		return "", false, err
	}
	for again := 0; ; again++ {
		sum := sha256.Sum256([]byte(person + "\x00" + id + strings.Repeat("+", again) + "\x00" + text))
		key = string(alerts.Reply) + ":" + hex.EncodeToString(sum[:12])
		if known, err = d.Ledger.Known(ctx, site, key); err != nil || !known || !minute || key == newest {
			return key, known, err
		}
	}
}

// understandMore reads what one record or word is too little for: two groups in one text,
// and when it was that somebody gathered or boiled ("yesterday 25 gal", "north 180 L hier soir"),
// or the day on which taps were pulled or put in.
func (d *Daemon) understandMore(in *incoming, text string, groups []inbound.Group) {
	if in.said.Kind != inbound.Question {
		return
	}
	lexicon, system := d.lexicon.Load(), in.person.Reader.Units
	if in.more = lexicon.Several(text, groups, system); len(in.more) > 0 {
		in.said = in.more[0]
		return
	}
	if in.understandDay(lexicon, text, groups); in.said.Kind != inbound.Question || in.said.Unclear != "words" {
		return
	}
	if asks, several := lexicon.Unclear(text, groups, system); several {
		in.said = asks // of the part that is not clear, not of the next group's name
	}
}

// understandDay reads a text that says when it was.
func (in *incoming) understandDay(lexicon *inbound.Lexicon, text string, groups []inbound.Group) {
	system := in.person.Reader.Units
	words := strings.Fields(strings.Trim(text, " .!"))
	lacks := in.said                            // the group alone, where all else is understood
	for n := min(4, len(words)-1); n > 0; n-- { // a day has a word to three, with its hour four
		for from := len(words) - n; from >= 0; from-- {
			when, rest := words[from:from+n], slices.Concat(words[:from], words[from+n:])
			at, dateOnly, err := records.ReadWhen(strings.Join(when, " "), in.now, in.site.Zone, false)
			if err != nil || !strings.ContainsFunc(strings.Join(when, ""), unicode.IsLetter) { // "2.1" is sugar
				continue
			}
			said := strings.Join(rest, " ")
			u, more := lexicon.Understand(said, groups, system), lexicon.Several(said, groups, system)
			if len(more) > 0 {
				u = more[0]
			}
			taps := u.Kind == inbound.Pulled || u.Kind == inbound.Tapped
			if taps && dateOnly || (u.Kind == inbound.Collected || u.House != nil) && (at.Before(in.now) || dateOnly) {
				in.said, in.more, in.on, in.onDay = u, more, at, dateOnly
				return
			}
			if u.Kind == inbound.Question && u.Unclear == "group" && u.Word == "" {
				lacks = u
			}
		}
	}
	in.said = lacks
}

func (d *Daemon) note(ctx context.Context, in *incoming) (string, error) {
	said := in.more
	if len(said) == 0 {
		said = []inbound.Understood{in.said}
	}
	var visits []records.Visit
	for i := range said {
		u := &said[i]
		v := records.Visit{Group: u.Group, VolumeL: u.VolumeL, BrixPct: u.BrixPct, Note: u.Note, CollectedAt: in.on, DateOnly: in.onDay}
		if u.VolumeL < 0 {
			v.VolumeL = math.NaN()
		}
		if u.BrixPct == 0 {
			v.BrixPct = math.NaN()
		}
		visits = append(visits, v)
	}
	r, err := d.intake().Take(ctx, intake.Entry{Site: in.site, Visits: visits, Way: intake.Text, From: writer(in.person),
		Key: in.site.ID + "/in/" + in.key, Words: in.words}, in.now)
	if err != nil {
		return "", err
	}
	for i := range r.Records {
		r.Records[i].Earlier = !in.on.IsZero()
	}
	return r.Say(in.words), nil
}

// writer is a person as records name them.
func writer(p *channel.Person) auth.Identity {
	who := auth.Identity{Person: p.ID, Name: p.Name, Role: auth.Role(p.Role), Sites: p.Sites}
	if who.Name == "" {
		who.Name = p.ID
	}
	return who
}

// intake takes what texts and gauges say.
func (d *Daemon) intake() intake.Service {
	s := intake.Service{Archive: d.Archive, PlaceKey: d.PlaceKey}
	if d.Metrics != nil {
		s.Counter = d.Metrics
	}
	return s
}
