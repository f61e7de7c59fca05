package message

import (
	"strings"

	"thawline/alerts"
)

// Overview is one text about tomorrow in all the bushes of somebody who has many: in how many
// sap runs, how many run over if nobody gathers, by name as far as there is room, and how
// many have no fresh forecast.
func (w *Words) Overview(f *alerts.BushesFacts) string {
	room := w
	w = w.Open()
	values := map[string]any{"All": f.All}
	run := w.PluralWith("overview_run", f.Run, values)
	switch {
	case f.Run == 0 && f.May > 0:
		run = w.PluralWith("overview_only_may", f.May, values)
	case f.Run == 0:
		run = w.Say("overview_none", values)
	case f.May > 0:
		run += ", " + w.PluralWith("overview_may", f.May, nil)
	}
	over, stale := "", ""
	if f.Over > 0 {
		over = w.PluralWith("overview_over", f.Over, nil)
	}
	if f.Stale > 0 {
		stale = w.PluralWith("overview_stale", f.Stale, nil)
	}
	staleNamed := w.withNames(stale, f.StaleFirst, f.Stale)
	var tries []string
	for names := len(f.First); names >= 0; names-- {
		said := w.one(w.withNames(over, f.First[:names], f.Over))
		for _, old := range []string{staleNamed, stale} {
			tries = append(tries, settled(sentences([]string{w.one(run), said, w.one(old)})))
		}
	}
	return room.fitted(append(tries, settled(sentences([]string{w.one(run), w.one(over)})))...)
}

// withNames is what is said of some bushes with their names, all or the first of them.
func (w *Words) withNames(said string, names []string, all int) string {
	if said == "" || len(names) == 0 {
		return said
	}
	var list []string
	for _, name := range names {
		list = append(list, shorten(strings.TrimSpace(name), 20))
	}
	key := "overview_first"
	if len(names) == all {
		key = "overview_named"
	}
	return w.Say(key, map[string]any{"Said": said, "Names": strings.Join(list, ", ")})
}

// Silent are bushes whose urgent messages nobody has answered.
type Silent struct {
	Bushes     []string // by name, the most pressing first
	Unreached  int      // in how many of them the message did not arrive
	Untellable []string // others, by name, where nobody gets messages
}

// Unanswered is one text about all bushes whose urgent messages nobody has answered: how many, in
// how many of them nobody could be reached, and in how many others nobody gets messages, by name
// as far as there is room.
func (w *Words) Unanswered(s Silent) string {
	room := w
	w = w.Open()
	said, unreached := "", ""
	if len(s.Bushes) > 0 {
		said = w.Plural("escalation_bushes", len(s.Bushes))
	}
	switch {
	case s.Unreached > 0 && len(s.Bushes) == 1:
		unreached = w.Say("escalation_bush_unreached", nil)
	case s.Unreached > 0:
		unreached = w.Plural("escalation_bushes_unreached", s.Unreached)
	}
	nobody := ""
	switch n := len(s.Untellable); {
	case n > 0 && said == "":
		nobody = w.Plural("escalation_bushes_nobody", n)
	case n > 0:
		nobody = w.Plural("escalation_bushes_more_nobody", n)
	}
	desk := w.Say("escalation_desk", nil)
	var tries []string
	for names := 6; names >= 0; names-- {
		for _, others := range []int{names, 0} {
			first, more := s.Bushes[:min(names, len(s.Bushes))], s.Untellable[:min(others, len(s.Untellable))]
			tries = append(tries, settled(sentences([]string{w.one(w.withNames(said, first, len(s.Bushes))), w.one(unreached),
				w.one(w.withNames(nobody, more, len(s.Untellable))), w.one(desk)})))
		}
	}
	return room.fitted(tries...)
}
