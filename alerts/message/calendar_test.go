package message

import (
	"strings"
	"testing"

	"thawline/forecast"
	"thawline/forecast/units"
)

// A calendar calls a run what the evening text calls it, in both languages, and never
// gives a chance that the text does not give.
func TestCalendarSaysWhatTheTextSays(t *testing.T) {
	for language, tomorrow := range map[string]string{"en": " tomorrow", "fr": " demain"} {
		w, err := NewWords(Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]bool{}
		for _, chance := range []float64{0, 0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.99} {
			for _, class := range []forecast.Class{"", forecast.StrongRun} {
				d := forecast.Day{RunProbability: chance, VolumeL: forecast.Range{P10: 40, P50: 100, P90: 200}}
				d.Class = class
				summary, text := w.CalendarDay("Hill", &d)
				verdict := strings.TrimSuffix(w.Say(verdictOf(&d), nil), tomorrow)
				seen[verdict] = true
				if _, says, _ := strings.Cut(summary, "Hill"); !strings.EqualFold(strings.Trim(says, " :\u00a0\u202f"), verdict) ||
					strings.Contains(summary, "%") {
					t.Errorf("%s %.2f: the calendar says %q, the text %q", language, chance, summary, verdict)
				}
				if volume, _ := w.volumes(&d); volume != "" && !strings.Contains(text, volume) {
					t.Errorf("%s %.2f: the calendar says %q, the text %q", language, chance, text, volume)
				}
			}
		}
		if len(seen) != len(EveningWords) {
			t.Errorf("%s: %d of %d ways to say it", language, len(seen), len(EveningWords))
		}
	}
}

// A round in the calendar says who goes where and how much they bring, by the words of the evening
// text; sap that has gone bad is none of it, and next to nothing is "up to".
func TestCalendarRound(t *testing.T) {
	bush := forecast.Bush{Name: "Hill", Groups: []forecast.GroupName{{ID: "barn", Name: "Barn pails"}, {ID: "lane", Name: "Lane tubing"}},
		People: []forecast.PersonName{{ID: "ned", Name: "Ned"}, {ID: "luc", Name: "Luc"}}}
	both := forecast.CrewRound{Who: []string{"ned", "luc"}, Groups: []forecast.RoundGroup{
		{Group: "barn", VolumeL: 100, LowL: 60, HighL: 190}, {Group: "lane", VolumeL: 203, LowL: 100, HighL: 400}}}
	hardly := forecast.CrewRound{Groups: []forecast.RoundGroup{{Group: "lane", VolumeL: 4, LowL: 0, HighL: 360}}}
	bad := forecast.CrewRound{Who: []string{"luc"}, Groups: []forecast.RoundGroup{{Group: "barn", TipOut: true}, {Group: "lane", VolumeL: 80, LowL: 70, HighL: 90}}}
	for _, c := range []struct {
		language string
		round    *forecast.CrewRound
		want     string
	}{
		{"en", &both, "Barn pails, Lane tubing (Ned, Luc): about 300 litres. A forecast is an estimate."},
		{"fr", &both, "Barn pails, Lane tubing (Ned, Luc) : environ 300 litres. Une prévision est une estimation."},
		{"en", &hardly, "Lane tubing: up to 360 litres. A forecast is an estimate."},
		{"en", &bad, "Lane tubing (Luc): about 80 litres. Tip out Barn pails: sap gone bad. A forecast is an estimate."},
	} {
		w := words(t, c.language, units.Metric)
		if _, got := w.CalendarRound(&bush, c.round); got != c.want {
			t.Errorf("%s: %q, not %q", c.language, got, c.want)
		}
	}
	if summary, _ := words(t, "en", units.Metric).CalendarRound(&bush, &both); summary != "Hill: go round" {
		t.Errorf("%q", summary)
	}
}
