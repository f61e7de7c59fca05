package web

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// speaking is a view with words and nothing else.
func speaking(t *testing.T, language string, system units.System) *view {
	t.Helper()
	words, err := message.NewWords(message.Reader{Language: language, Units: system})
	if err != nil {
		t.Fatal(err)
	}
	return &view{words: words, system: system, Lang: language}
}

// Only what is full before the next morning's light is gathered tonight; what fills
// on a later day waits for the round, or for a sentence that is true.
func TestTonightOnlyWhatIsFullByMorning(t *testing.T) {
	evening := time.Date(2026, 3, 20, 18, 30, 0, 0, time.UTC) // a Friday
	round := time.Date(2026, 3, 24, 16, 0, 0, 0, time.UTC)
	for by, tonight := range map[time.Time]bool{
		time.Date(2026, 3, 21, 5, 0, 0, 0, time.UTC):  true,
		time.Date(2026, 3, 21, 9, 0, 0, 0, time.UTC):  false,
		time.Date(2026, 3, 23, 10, 0, 0, 0, time.UTC): false,
	} {
		o := &forecast.Outlook{IssuedAt: evening, Rounds: []forecast.Round{{Group: "ridge", GatherBy: by}}}
		o.Plan.Rounds = []forecast.PlannedRound{{At: round, SapL: 100}}
		say, _, soon := nextRound(speaking(t, "en", units.US), o, evening)
		if strings.HasPrefix(say, "Tonight") != tonight || soon != tonight {
			t.Errorf("full by %s: %s", by, say)
		}
	}
}
