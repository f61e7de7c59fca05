package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Sap that has gone bad is tipped out, in every text: nobody is told to gather it.
func TestBadSapIsTippedOut(t *testing.T) {
	made := outlook("Fox Hollow", 0.9, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	o := &made
	bad := o.IssuedAt.Add(-time.Hour)
	o.Work.Groups = []forecast.GroupWork{{Group: "ridge", Decision: forecast.TipOut, KeepsUntil: &bad}}
	d := alerts.Decision{Kind: alerts.BoilBy, Facts: alerts.Facts{Group: "pails", At: bad, What: "tip_out"}}
	for language, want := range map[string][2]string{"en": {"tip", "gather"}, "fr": {"jete", "ramass"}} {
		w := words(t, language, units.US)
		if text := strings.ToLower(w.Evening(o)); !strings.Contains(text, want[0]) || strings.Contains(text, want[1]) {
			t.Errorf("%s evening: %s", language, text)
		}
		if text := strings.ToLower(w.Alert(&d, o)); !strings.Contains(text, want[0]) || strings.Contains(text, want[1]) {
			t.Errorf("%s alert: %s", language, text)
		}
	}
}
