package intake

import (
	"math"
	"strings"
	"testing"

	"thawline/alerts/message"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Of the records of one text it is said once that they are noted.
func TestNotedIsSaidOnce(t *testing.T) {
	r := &Result{}
	for i, name := range []string{"North", "Brook", "lane"} {
		v := records.Visit{VolumeL: float64(40 + i), BrixPct: math.NaN()}
		if i == 2 {
			v.VolumeL = math.NaN()
		}
		r.Records = append(r.Records, Record{Visit: v, Name: name, Outcome: Written})
	}
	for language, want := range map[string]string{"en": "Noted: North 40 litres. Brook 41 litres. No sap from lane.",
		"fr": "Noté : North 40 litres. Brook 41 litres. Lane, rien de ramassé."} {
		w, err := message.NewWords(message.Reader{Language: language, Units: units.Metric})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.ReplaceAll(r.Say(w), "\u00a0", " "); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
