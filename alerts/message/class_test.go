package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Drops that a class sees in its hours are one thing, a run of the day another: where the evening
// text of that day says "may run" and it drips seven times in ten, the text about the class says what
// differs, and never that sap is likely to run. Where both say the same nothing is explained.
func TestDropsForAClassAreNoRun(t *testing.T) {
	more := map[string]string{"en": "A run takes more.", "fr": "Une coulée, c'est plus."}
	other := map[string]string{"en": "The run comes at other hours.", "fr": "La coulée vient à d'autres heures."}
	for _, c := range []struct {
		drips, run float64
		says       map[string]string
	}{{0.7, 0.4, more}, {0.3, 0.02, more}, {0.7, 0.7, nil}, {0.2, 0.9, other}, {0.6, 0.95, other}, {0.05, 0.2, nil}} {
		o := outlook("Hill", c.run, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
		o.Days[1].Date = "2026-03-24"
		d := alerts.Decision{Kind: alerts.ClassVisit, Facts: alerts.Facts{What: string(forecast.Indoors), Date: "2026-03-24",
			At: time.Date(2026, 3, 24, 14, 0, 0, 0, time.UTC), Class: &alerts.ClassFacts{ID: "one", Drips: &c.drips}}}
		for _, language := range []string{"en", "fr"} {
			text := words(t, language, units.US).In(Wide).Alert(&d, &o)
			for _, says := range []map[string]string{more, other} {
				want := c.says != nil && c.says[language] == says[language]
				if strings.Contains(text, says[language]) != want {
					t.Errorf("drips %.2f, run %.2f: %s", c.drips, c.run, text)
				}
			}
			if differ := c.says != nil; differ && (strings.Contains(text, "Sap drips") || strings.Contains(text, "Ça goutte")) {
				t.Errorf("drips %.2f, run %.2f sounds like a run: %s", c.drips, c.run, text)
			}
		}
	}
	o := outlook("Fox Hollow", 0.4, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	if drips, differs := words(t, "en", units.US).ClassDrips(0.7, "2026-04-30", &o); drips != "Sap drips then 7 in 10." || differs != "" {
		t.Errorf("beyond the forecast: %s %s", drips, differs)
	}
}
