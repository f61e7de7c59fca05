package message

import (
	"strings"
	"testing"

	"thawline/forecast/units"
)

// An escalation is one text message, whoever did not answer and whatever to.
func TestEscalationFits(t *testing.T) {
	for _, language := range []string{"en", "fr"} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		short := w.Escalation("Ann", "Hill: pails will run over. Weather 1 hour old.", true)
		if !strings.Contains(short, "Ann") || !strings.HasSuffix(short, "Weather 1 hour old.") {
			t.Errorf("%s", short)
		}
		alert := "Hill of the old sugarhouse: The pails along the brook will run over, chance 80 %. Gather by Saturday 3 pm and take the sled. Weather under 1 hour old."
		long := w.Escalation("Ann Odell of the upper road", alert, true)
		if !strings.Contains(long, "Ann") || !strings.Contains(long, "will run over") || strings.Contains(long, "Weather") {
			t.Errorf("%s", long)
		}
		for _, text := range []string{short, long, w.Escalation(strings.Repeat("[", 60), strings.Repeat("{", 160), true), w.Escalation("", "", false), w.Escalation("Ann", strings.Repeat("x", 160), false)} {
			if n, ok := Septets(text); !ok || n > SMSLimit {
				t.Errorf("%d %v %s", n, ok, text)
			}
		}
	}
}
