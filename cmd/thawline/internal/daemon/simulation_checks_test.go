package daemon

import (
	"context"
	"slices"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// check looks whether the evening kept its promises.
func (w *world) check(evening time.Time) {
	ctx := context.Background()
	people := map[string]channel.Person{}
	for _, p := range worldPeople() {
		people[p.ID] = p
	}
	evenings := map[string]string{} // person and site: the key of the text
	took := map[string]int{}
	for i := range w.accepted {
		m := &w.accepted[i]
		took[m.Key]++
		p, known := people[m.Person]
		switch {
		case !known || !p.Concerns(m.Site) || p.Ways[0].To != m.To:
			w.fault("unauthorised: %s to %s (%s) of %s", m.Kind, m.Person, m.To, m.Site)
		case p.Role == "viewer" && slices.ContainsFunc(m.Kinds,
			func(k alerts.Kind) bool { return k != alerts.Reply && k != alerts.Question && !k.HeardBy("viewer") }):
			w.fault("a viewer is told %v", m.Kinds)
		case m.Says(alerts.Evening) && m.at.After(evening.Add(13*time.Hour+31*time.Minute)):
			w.fault("late: the evening to %s at %s of the next day", m.Person, m.at.Format("15:04"))
		case m.Kind != alerts.Reply && w.silent(m.Person, m.at):
			w.fault("silenced: %s to %s at %s, who wants no messages", m.Kind, m.Person, m.at.Format("15:04"))
		case m.at.After(m.Until.Add(time.Minute)):
			w.fault("late: %s to %s at %s, of use until %s", m.Kind, m.Person, m.at.Format("15:04"), m.Until.Format("15:04"))
		}
		if !m.Says(alerts.Evening) {
			continue
		}
		if m.at.Add(20 * time.Minute).Before(evening) {
			w.fault("early: the evening at %s", m.at.Format("15:04"))
		}
		of := m.Person + " " + m.Site
		if before := evenings[of]; before != "" && before != m.Key {
			w.fault("twice: two evening texts to %s", of)
		}
		evenings[of] = m.Key
	}
	for key, n := range took {
		if n > 1 && !w.doubled[key] && !w.crashed() {
			w.fault("twice: %s was sent %d times", key, n)
		}
	}
	list, err := w.archiveLedger().Recent(ctx, 1000)
	if err != nil {
		w.fault("the ledger can't be read: %v", err)
	}
	decided := map[string]bool{}
	for i := range list {
		v := &list[i]
		if v.Kind == alerts.Evening {
			decided[v.Person+" "+v.Site] = true
		}
		if v.State == ledger.Waiting && v.NextAt.Before(w.now) && v.GoesWith == "" {
			w.fault("lost: %s to %s still waits at %s, due %s", v.Kind, v.Person, w.now.Format("15:04"), v.NextAt.Format("15:04"))
		}
		if !v.AckedAt.IsZero() && !slices.ContainsFunc(w.texts(v.Person),
			func(h heardText) bool { return h.text == "OK" && !h.at.Before(v.MadeAt.Add(-time.Hour)) }) {
			w.fault("unauthorised: %s to %s counts as seen by somebody who did not say so", v.Kind, v.Person)
		}
		if v.State == ledger.Sent && v.GoesWith == "" && took[v.ID] == 0 {
			w.fault("lost: %s to %s counts as sent, and was not", v.Kind, v.Person)
		}
	}
	w.checkEvenings(ctx, evenings, evening)
	w.checkTexts(ctx, list)
	w.checkHappenings(ctx, evening)
}

// checkEvenings looks whether everybody who is to hear of tomorrow has, in words of the
// weather that was newest.
func (w *world) checkEvenings(ctx context.Context, evenings map[string]string, evening time.Time) {
	l := w.archiveLedger()
	for _, site := range []string{"bush", "lake"} {
		for _, person := range worldPeople() {
			if !person.Concerns(site) {
				continue
			}
			key := evenings[person.ID+" "+site]
			if key == "" {
				continue
			}
			for i := range w.accepted {
				m := &w.accepted[i]
				if m.Key != key {
					continue
				}
				o := w.madeAbout(site, m.MadeAt)
				if len(o) == 0 {
					w.fault("not true: the evening of %s was made at %s from no outlook", site, m.MadeAt)
					continue
				}
				words, err := w.nodes[0].d.Words(person.Reader)
				if err != nil {
					w.fault("%v", err)
					continue
				}
				if !slices.ContainsFunc(o, func(o *forecast.Outlook) bool {
					_, said, _ := strings.Cut(words.Evening(o), ": ")
					said, _, _ = strings.Cut(said, " OLD WEATHER") // which stands at the end of all that one message says
					return strings.Contains(m.Text, said)
				}) {
					w.fault("not true to the weather: %q", m.Text)
				}
			}
		}
		d, made, known, err := l.Memory(ctx).Last(site, alerts.Evening, "")
		if err != nil {
			w.fault("%v", err)
		}
		if !known {
			if h := w.happens[site]; (h == nil || !h.noRun) && w.untold(site, evening) && !w.silentAll(site) {
				w.fault("not told: a run was likely at %s by all outlooks of the evening", site)
			}
			continue
		}
		for _, person := range worldPeople() {
			if !person.Concerns(site) || evenings[person.ID+" "+site] != "" || w.everSilent(person.ID) || !w.dumb.IsZero() {
				continue
			}
			w.fault("lost: %s was not told the evening of %s, decided %s (%s)", person.ID, site, made.Format("15:04"), d.Key)
		}
	}
}

// madeAbout are the outlooks that a decision of a moment may go by: those of it, or of a
// clock that was ahead before it was put right.
func (w *world) madeAbout(site string, at time.Time) (out []*forecast.Outlook) {
	for of, made := range w.made {
		for _, o := range made {
			if strings.HasPrefix(of, site+" ") && !o.IssuedAt.Before(at) && o.IssuedAt.Sub(at) <= mostSkew {
				out = append(out, o)
			}
		}
	}
	return out
}

// untold reports whether every outlook of the hour after the evening, in which daemons that
// ended are up again, says that a run is likely, one of them was made by a daemon that came to
// an end with what was due, and there was weather to go by.
func (w *world) untold(site string, evening time.Time) bool {
	for _, k := range []alerts.Kind{alerts.NoForecast, alerts.StaleFeed} {
		if _, _, known, err := w.archiveLedger().Memory(context.Background()).Last(site, k, ""); err != nil || known {
			return false
		}
	}
	seen := false
	for at, made := range w.made {
		for _, o := range made {
			if !strings.HasPrefix(at, site) || o.IssuedAt.Before(evening) || o.IssuedAt.After(evening.Add(time.Hour)) ||
				len(o.Days) < 2 {
				continue
			}
			if o.Days[1].RunProbability < 0.6 {
				return false
			}
			seen = seen || slices.ContainsFunc(w.whole, o.IssuedAt.Equal)
		}
	}
	return seen
}

// checkTexts looks whether what people wrote counts as they wrote it.
func (w *world) checkTexts(ctx context.Context, list []ledger.Delivery) {
	stopped := map[string]string{}
	wrote, said := map[string]int{}, map[string]time.Time{}
	twice := map[string]bool{} // sites where two wrote the same, which counts once
	for i, h := range w.heard {
		twice[h.site] = twice[h.site] || h.text == "12 L" && slices.ContainsFunc(w.heard[:i],
			func(other heardText) bool {
				return other.text == h.text && other.site == h.site && other.person != h.person
			})
		switch h.text {
		case "STOP", "START":
			stopped[h.person] = h.text
		case "12 L": // the same again within ten minutes is the same
			if of := h.person + " " + h.site; h.at.Sub(said[of]) > 10*time.Minute {
				said[of] = h.at
				wrote[of]++
			}
		}
	}
	for person, word := range stopped {
		if w.isUnsure(person) {
			continue
		}
		is, err := w.archiveLedger().Stopped(ctx, person)
		if err != nil || is != (word == "STOP") {
			w.fault("%s wrote %s last, and is stopped: %t, %v", person, word, is, err)
		}
	}
	for _, site := range []string{"bush", "lake"} {
		visits, err := w.archive.Visits(ctx, site, time.Time{}, time.UTC)
		if err != nil {
			w.fault("%v", err)
		}
		for _, p := range worldPeople() {
			n, texts := 0, w.texts(p.ID)
			for i := range visits {
				if visits[i].RecordedBy == p.ID {
					n++
				}
			}
			sure := !w.isUnsure(p.ID) && !slices.ContainsFunc(texts, func(h heardText) bool { return h.text == "undo" })
			if want := wrote[p.ID+" "+site]; p.Role != "viewer" && sure && !twice[site] && n != want {
				w.fault("lost: %s wrote %d records of %s, and %d are kept", p.ID, want, site, n)
			}
		}
		for i := range visits {
			if by := visits[i].RecordedBy; by == "cy" || site == "lake" && by == "bob" || site == "bush" && by == "dee" {
				w.fault("unauthorised: %s wrote a record of %s", by, site)
			}
		}
	}
	replies := map[string]int{}
	for i := range list {
		if list[i].Kind == alerts.Reply {
			replies[list[i].Person]++
		}
	}
	for person, n := range replies {
		if most := len(w.texts(person)); n > most {
			w.fault("twice: %d answers to %d texts of %s", n, most, person)
		}
	}
}

// texts are those that a person wrote, dealt with or perhaps.
func (w *world) texts(person string) (out []heardText) {
	for _, h := range slices.Concat(w.heard, w.unsure) {
		if h.person == person || slices.ContainsFunc(worldPeople(),
			func(p channel.Person) bool { return p.ID == person && p.Ways[0].To == h.person }) {
			out = append(out, h)
		}
	}
	return out
}

// silent reports whether a person surely wants no messages at a moment.
func (w *world) silent(person string, at time.Time) bool {
	if w.isUnsure(person) {
		return false
	}
	is := false
	for _, h := range w.heard {
		if h.person == person && !h.at.After(at) {
			is = h.text != "START" && (is || h.text == "STOP" || h.text == "pause 2")
		}
	}
	return is
}

func (w *world) crashed() bool {
	return slices.ContainsFunc(w.nodes, func(n *node) bool { return n.downs > 0 })
}

// everSilent reports whether a person wanted no messages at some time of the evening.
func (w *world) everSilent(person string) bool {
	return w.isUnsure(person) || slices.ContainsFunc(w.heard,
		func(h heardText) bool { return h.person == person && (h.text == "STOP" || h.text == "pause 2") })
}

func (w *world) silentAll(site string) bool {
	return !slices.ContainsFunc(worldPeople(), func(p channel.Person) bool { return p.Concerns(site) && !w.everSilent(p.ID) })
}

// isUnsure reports whether a text of a person may or may not have been dealt with.
func (w *world) isUnsure(person string) bool {
	return slices.ContainsFunc(w.unsure, func(h heardText) bool {
		return slices.ContainsFunc(worldPeople(), func(p channel.Person) bool { return p.ID == person && p.Ways[0].To == h.person })
	})
}

func (w *world) archiveLedger() *ledger.Ledger { return ledger.New(w.archive.DB()) }
