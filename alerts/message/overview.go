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
	if f.Run == 0 {
		run = w.Say("overview_none", values)
	}
	if f.May > 0 {
		run += ", " + w.PluralWith("overview_may", f.May, nil)
	}
	over, stale := "", ""
	if f.Over > 0 {
		over = w.PluralWith("overview_over", f.Over, nil)
	}
	if f.Stale > 0 {
		stale = w.PluralWith("overview_stale", f.Stale, nil)
	}
	var tries []string
	for names := len(f.First); names >= 0; names-- {
		said := over
		if names > 0 && over != "" {
			var list []string
			for _, name := range f.First[:names] {
				list = append(list, shorten(strings.TrimSpace(name), 20))
			}
			key := "overview_first"
			if names == f.Over {
				key = "overview_named"
			}
			said = w.Say(key, map[string]any{"Said": over, "Names": strings.Join(list, ", ")})
		}
		tries = append(tries, settled(sentences([]string{w.one(run), w.one(said), w.one(stale)})))
	}
	return room.fitted(append(tries, settled(sentences([]string{w.one(run), w.one(over)})))...)
}
