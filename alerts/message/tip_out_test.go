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

// What is said of sap in the sugarhouse, and where nothing is on record, fits into one text
// message with its last word, and tells nobody to gather or to tip out what may be good.
func TestTankAndFirstRoundFitOneText(t *testing.T) {
	made := outlook("Old Fox Hollow Bush", 0.9, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	for _, c := range []struct{ language, what, says, not, last string }{
		{"en", "tank", "in the sugarhouse", "tip", "write it down."}, {"fr", "tank", "cabane", "jete", "notez-le."},
		{"en", "tank_tip_out", "do not boil", "gather", "write it down."}, {"fr", "tank_tip_out", "ne les faites pas bouillir", "ramass", "notez-le."},
		{"en", "first_round", "no round on record", "bad", "Write your next one down."},
		{"fr", "first_round", "aucune tournée notée", "gat", "Notez la prochaine."},
	} {
		d := alerts.Decision{Kind: alerts.BoilBy, Facts: alerts.Facts{Group: "Behind the sugarhouse", At: made.IssuedAt, VolumeL: 4500, What: c.what}}
		w := words(t, c.language, units.Imperial).In(Texted)
		text := w.Alert(&d, &made)
		n, _ := Septets(text)
		if !strings.Contains(text, c.says) || strings.Contains(text, c.not) || !strings.HasSuffix(text, c.last) || n > SMSLimit {
			t.Errorf("%s %s: %d of %q", c.language, c.what, n, text)
		}
	}
}
