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
