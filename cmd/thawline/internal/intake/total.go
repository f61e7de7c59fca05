package intake

import (
	"strings"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// Total says what the records of a season gathered in all, "" where there are none: as the page
// of records and the answer to a text have it.
func Total(w *message.Words, year int, visits []archive.Stored) string {
	if len(visits) == 0 {
		return ""
	}
	n, unit := w.Volume(gathered(visits, func(string) bool { return true }))
	return w.Say("records_total", map[string]any{"Year": year, "Volume": n + " " + unit})
}

// fewGroups are told one by one in a text.
const fewGroups = 4

// TotalByGroup is Total with what each group brought, where there are a few.
func TotalByGroup(w *message.Words, site *forecast.Site, year int, visits []archive.Stored) string {
	total := Total(w, year, visits)
	if total == "" {
		return w.Say("reply_total_none", map[string]any{"Year": year})
	}
	var parts []string
	for i := range site.Groups {
		id := site.Groups[i].ID
		n, unit := w.Volume(gathered(visits, func(group string) bool { return group == id }))
		parts = append(parts, w.Say("reply_total_group", map[string]any{"Group": nameOf(site, id), "Volume": n, "Unit": unit}))
	}
	if len(parts) == 1 || len(parts) > fewGroups {
		return total
	}
	return total + " " + sentence(strings.Join(parts, ", "))
}

// gathered is what visits to some groups brought, litres.
func gathered(visits []archive.Stored, of func(group string) bool) (litres float64) {
	for i := range visits {
		if v := &visits[i]; v.Collected() && of(v.Group) {
			litres += v.VolumeL
		}
	}
	return litres
}
