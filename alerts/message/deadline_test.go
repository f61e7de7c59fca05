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

// An hour that is over is no deadline: who promised the round of five reads at seven to go now,
// and before it the hour.
func TestAnHourThatIsOverIsNoDeadline(t *testing.T) {
	five := time.Date(2026, 3, 18, 17, 0, 0, 0, time.FixedZone("EDT", -4*3600))
	for language, now := range map[string]string{"en": "Gather now", "fr": "Ramassez tout de suite"} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		for _, chance := range []float64{0.6, 0.99} {
			for _, hours := range []int{-2, -1, 0, 2} {
				at := five.Add(time.Duration(hours) * time.Hour)
				text := w.Alert(&alerts.Decision{Kind: alerts.Overflow, Facts: alerts.Facts{Group: "pails", At: five, Chance: chance}},
					&forecast.Outlook{Bush: forecast.Bush{Name: "Hill"}, IssuedAt: at})
				hour := strings.Contains(text, "5 pm") || strings.Contains(text, "17 h")
				if over := hours >= 0; strings.Contains(text, now) != over || hour == over {
					t.Errorf("at %s: %s", at.Format("15:04"), text)
				}
			}
		}
	}
}

// An hour so near that nobody who reads of it gets there by then is no deadline either: eight
// minutes before five it is "now", an hour before it is the hour. Where all of it can't be saved
// any more, what is lost is said, and still no hour that is gone.
func TestAnHourThatIsTooNearIsNow(t *testing.T) {
	five := time.Date(2026, 3, 18, 17, 0, 0, 0, time.FixedZone("EDT", -4*3600))
	for language, says := range map[string][4]string{"en": {"Gather now", "5 pm", "12 gallons", "Hill"},
		"fr": {"Ramassez tout de suite", "17 h", "12 gallons", "Hill"}} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		for _, what := range []string{"", "late"} {
			for _, minutes := range []int{0, 8, 30, 31, 60} {
				o := &forecast.Outlook{Bush: forecast.Bush{Name: "Hill"}, IssuedAt: five.Add(-time.Duration(minutes) * time.Minute)}
				text := w.Alert(&alerts.Decision{Kind: alerts.Overflow,
					Facts: alerts.Facts{Group: "pails", At: five, Chance: 0.6, VolumeL: 12 * units.LitresPerUSGallon, What: what}}, o)
				near := minutes <= 30
				if strings.Contains(text, says[0]) != near || strings.Contains(text, says[1]) == near ||
					strings.Contains(text, says[2]) != (near && what == "late") || !strings.Contains(text, says[3]) {
					t.Errorf("%q, %d minutes before: %s", what, minutes, text)
				}
			}
		}
	}
}
