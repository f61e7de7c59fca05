package message

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// A deadline at midnight is named by the evening before it: "Sunday midnight" reads
// as the end of Sunday, a day late.
func TestMidnightIsNoDeadline(t *testing.T) {
	zone := time.FixedZone("EDT", -4*3600)
	sunday := time.Date(2026, 3, 22, 0, 0, 0, 0, zone)
	for _, c := range []struct {
		language string
		at       time.Time
		want     string
	}{
		{"en", sunday, "Saturday 11 pm"}, {"fr", sunday, "samedi 23 h"},
		{"en", sunday.Add(-20 * time.Minute), "Saturday 11 pm"}, {"en", sunday.Add(20 * time.Minute), "Saturday 11 pm"},
		{"en", sunday.Add(time.Hour), "Sunday 1 am"}, {"en", sunday.Add(12 * time.Hour), "Sunday noon"},
	} {
		w, err := NewWords(Reader{Language: c.language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		w = w.In(Texted)
		o := &forecast.Outlook{Bush: forecast.Bush{Name: "Hill"}, IssuedAt: sunday.Add(-24 * time.Hour)}
		for _, kind := range []alerts.Kind{alerts.Overflow, alerts.BoilBy} {
			if text := w.Alert(&alerts.Decision{Kind: kind, Facts: alerts.Facts{Group: "pails", At: c.at, Chance: 0.8}},
				o); !strings.Contains(text, c.want) {
				t.Errorf("no %q in %s", c.want, text)
			}
		}
	}
}

// The evening text says of which day the hour is: "at 2 pm", read in the morning after,
// would be today.
func TestGatherSaysTomorrow(t *testing.T) {
	for language, want := range map[string]string{"en": "Gather ridge tomorrow 2 pm: ", "fr": "A ramasser demain à 14 h : ridge, "} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		w = w.In(Texted)
		o := outlook("Fox Hollow", 0.97, forecast.StrongRun, 310, 610, 1190, -6, 8, 9, 20, 2)
		gatherAt(&o, 14, "ridge")
		if text := w.Evening(&o); !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
}
