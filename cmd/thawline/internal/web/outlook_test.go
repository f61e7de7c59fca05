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

// The box says what the work says: who is due before the next evening goes, and a later
// round is no reason to go now.
func TestTheBoxQuotesTheWork(t *testing.T) {
	evening := time.Date(2026, 3, 20, 18, 30, 0, 0, time.UTC) // a Friday
	for at, want := range map[time.Time]string{
		time.Date(2026, 3, 21, 9, 0, 0, 0, time.UTC):  "Yes: tomorrow, ",
		time.Date(2026, 3, 24, 16, 0, 0, 0, time.UTC): "Not yet: next ",
	} {
		o := &forecast.Outlook{IssuedAt: evening, Bush: forecast.Bush{People: []forecast.PersonName{{ID: "wren", Name: "Wren"}}}}
		o.Work = forecast.Work{Until: evening.AddDate(0, 0, 1),
			Groups: []forecast.GroupWork{{Group: "ridge", Decision: forecast.Gather, GoAt: &at, Latest: &at, Who: []string{"wren"},
				VolumeL: &forecast.Range{P50: 100}}}}
		say, more, soon := nextRound(speaking(t, "en", units.US), o, evening)
		if !strings.HasPrefix(say, want) || soon != (want[0] == 'Y') || !strings.Contains(more, "Wren") {
			t.Errorf("%s, %s", say, more)
		}
	}
	say, _, soon := nextRound(speaking(t, "en", units.US), &forecast.Outlook{}, evening)
	if soon || !strings.HasPrefix(say, "No") {
		t.Errorf("nobody goes: %s", say)
	}
}

// Where groups are gone to at different hours, the box says from when on, as the text does,
// and each group's hour; never all of it at the first hour.
func TestTheBoxSaysEachHour(t *testing.T) {
	evening := time.Date(2026, 3, 20, 18, 30, 0, 0, time.UTC)
	early, late := time.Date(2026, 3, 21, 8, 0, 0, 0, time.UTC), time.Date(2026, 3, 21, 15, 0, 0, 0, time.UTC)
	o := &forecast.Outlook{IssuedAt: evening, Work: forecast.Work{Until: evening.AddDate(0, 0, 1), Groups: []forecast.GroupWork{
		{Group: "ridge", Decision: forecast.Gather, GoAt: &early, Latest: &early, VolumeL: &forecast.Range{P50: 100 * 3.785}},
		{Group: "lane", Decision: forecast.Gather, GoAt: &late, Latest: &late, VolumeL: &forecast.Range{P50: 50 * 3.785}}}}}
	v := speaking(t, "en", units.US)
	say, more, _ := nextRound(v, o, evening)
	if !strings.Contains(say, "from 8 am") || !strings.Contains(say, "150") || !strings.Contains(more, "ridge 8 am: 100") ||
		!strings.Contains(more, "lane 3 pm: 50") {
		t.Errorf("%s / %s", say, more)
	}
	late = early
	if say, more, _ = nextRound(v, o, evening); !strings.Contains(say, "at 8 am") || strings.Contains(more, "am") {
		t.Errorf("at one hour: %s / %s", say, more)
	}
}
