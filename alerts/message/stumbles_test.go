package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// What a maker stumbled over in a season read aloud: "all 2 groups", a run of today by its
// weekday, and two stops after a month cut short.
func TestReadAloud(t *testing.T) {
	now := time.Date(2026, 3, 23, 6, 15, 0, 0, time.UTC) // a Monday
	o := &forecast.Outlook{IssuedAt: now, Bush: forecast.Bush{Name: "Hill"}}
	off := func(date string) *alerts.Decision {
		return &alerts.Decision{Kind: alerts.Change, Facts: alerts.Facts{What: "called_off", Date: date, Chance: 0.1}}
	}
	two := outlook("Fox Hollow", 0.97, forecast.Run, 310, 610, 1190, -6, 8, 9, 20, 2)
	gatherAt(&two, 13, "ridge", "hollow")
	end := &alerts.Decision{Kind: alerts.EndNear, Facts: alerts.Facts{From: "2026-04-05", To: "2026-04-17"}}
	for _, c := range []struct{ language, got, want, not string }{
		{"en", words(t, "en", units.US).Alert(off("2026-03-23"), o), "Today's run is called off", "Monday"},
		{"en", words(t, "en", units.US).Alert(off("2026-03-24"), o), "announced for Tuesday", "Today"},
		{"fr", words(t, "fr", units.Metric).Alert(off("2026-03-23"), o), "pour aujourd'hui", "lundi"},
		{"fr", words(t, "fr", units.Metric).Alert(end, o), "le 17 avr. ", ".."},
		{"en", words(t, "en", units.US).AllGroups(2), "both groups", "2"},
		{"en", words(t, "en", units.US).AllGroups(3), "all 3 groups", "both"},
		{"en", words(t, "en", units.US).Evening(&two), "Gather", "all 2"},
	} {
		if !strings.Contains(c.got, c.want) || strings.Contains(c.got, c.not) {
			t.Errorf("%s: got %q, want %q and not %q", c.language, c.got, c.want, c.not)
		}
	}
}
