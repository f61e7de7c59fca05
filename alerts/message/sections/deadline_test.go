package sections

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

// What is to be done by midnight is named by the day that ends then, as in texts.
func TestMidnightBelongsToTheDayBefore(t *testing.T) {
	zone := time.FixedZone("EDT", -4*3600)
	sunday := time.Date(2026, 3, 22, 0, 0, 0, 0, zone)
	w, err := message.NewWords(message.Reader{Language: "en", Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	twoPM, fivePM, fourPM := sunday.Add(-10*time.Hour), sunday.Add(-7*time.Hour), sunday.Add(-8*time.Hour)
	o := &forecast.Outlook{Bush: forecast.Bush{Name: "Hill"}, IssuedAt: sunday.AddDate(0, 0, -2),
		Work: forecast.Work{Groups: []forecast.GroupWork{{Group: "pails", Decision: forecast.Gather, GoAt: &twoPM, Latest: &fivePM,
			VolumeL: &forecast.Range{P50: 100}, Why: "overflow"}}},
		Boil: []forecast.BoilDay{{Date: "2026-03-21", SapL: 100, Start: &fourPM, End: &sunday, BoilBy: &sunday,
			Batch: &boil.Batch{SapL: 100}}}}
	var b strings.Builder
	if err := Print(&b, o, w, units.Metric); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Gather pails Saturday at 2 pm, at the latest 5 pm", "4 pm to midnight: boil 100 litres",
		"Boil it by Saturday 21 Mar midnight"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}
