package message

import (
	"strings"
	"testing"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Where nobody has said that taps are in, an evening tells whether sap will run and what it would
// give, sends nobody, and names the word that says it; so do the season's opening and the answers
// about rounds. All of it fits into one text.
func TestUntappedNamesTheWordThatSaysIt(t *testing.T) {
	made := outlook("Old Fox Hollow Bush", 0.9, forecast.Run, 90, 210, 430, -3, 5, 11, 18, 1)
	made.Work = forecast.Work{Untapped: true, Groups: []forecast.GroupWork{{Group: "ridge", Decision: forecast.NoWork}}}
	for language, says := range map[string][3]string{"en": {"TAPPED", "gather", "gallons"}, "fr": {"ENTAILLÉ", "ramassez", "gallons"}} {
		for _, name := range []string{"Fox", "Old Fox Hollow Bush behind the northern sugarhouse"} {
			o := made
			o.Bush.Name = name
			w := words(t, language, units.US).In(Texted)
			text := w.Evening(&o)
			n, _ := Septets(text)
			if !strings.Contains(text, says[0]) || strings.Contains(text, "Gather") || strings.Contains(text, "À ramasser") ||
				!strings.Contains(text, says[2]) || n > SMSLimit {
				t.Errorf("%s evening: %d of %q", language, n, text)
			}
			opens := w.Alert(&alerts.Decision{Kind: alerts.SeasonOpens, Facts: alerts.Facts{Score: 3}}, &o)
			n, _ = Septets(opens)
			if !strings.Contains(opens, says[0]) || n > SMSLimit {
				t.Errorf("%s opening: %d of %q", language, n, opens)
			}
			if next := w.AnswerNext(&o, o.IssuedAt); !strings.Contains(next, says[0]) {
				t.Errorf("%s next: %q", language, next)
			}
		}
	}
}
