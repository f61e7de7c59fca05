package message

import (
	"strings"
	"testing"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

// The line that closes a season is one text message, with its figures, however long the
// name of the bush and however much was carried; of one visit it speaks in the singular.
func TestClosedIsOneText(t *testing.T) {
	litres, more := 74.0, 987_654.0
	for _, language := range []string{"en", "fr"} {
		for _, system := range []units.System{units.US, units.Imperial, units.Metric} {
			w, err := NewWords(Reader{Language: language, Units: system})
			if err != nil {
				t.Fatal(err)
			}
			w = w.In(Texted)
			for _, name := range []string{"Hill", "L'érablière à Jean-François et à toute la famille Bouchard-Tremblay", ""} {
				for _, c := range []forecast.Closed{{On: "2026-04-08", Visits: 34, SapL: 3100, SyrupL: &litres},
					{On: "2026-04-08", Visits: 1, SapL: 31}, {On: "2026-04-08"},
					{On: "2026-04-08", Visits: 98765, SapL: 41_234_567, SyrupL: &more}} {
					o := &forecast.Outlook{Site: "hill", Bush: forecast.Bush{Name: name},
						Season: forecast.Season{Stage: season.Closed, Closed: &c}}
					text := w.Evening(o)
					if n, ok := Septets(text); !ok || n > SMSLimit {
						t.Errorf("%d septets: %s", n, text)
					}
					if said := w.Alert(&alerts.Decision{Kind: alerts.Closed, Facts: alerts.FactsOfClosed(&c)}, o); said != text {
						t.Errorf("%s\n%s", said, text)
					}
					if strings.Contains(text, "tomorrow") || strings.Contains(text, "demain") || strings.Contains(text, "{{") ||
						strings.Contains(text, "<no value>") {
						t.Errorf("%s", text)
					}
					if c.Visits == 1 && !strings.Contains(text, "1 visit,") && !strings.Contains(text, "1 ramassage,") {
						t.Errorf("%s", text)
					}
					if c.Visits == 34 && name == "Hill" &&
						(!strings.Contains(text, "34 visits") && !strings.Contains(text, "34 ramassages") ||
							!strings.Contains(text, "sirop") && !strings.Contains(text, "syrup")) {
						t.Errorf("%s", text)
					}
				}
			}
		}
	}
}
