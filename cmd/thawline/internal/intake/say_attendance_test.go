package intake

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Who promises a round where nothing hangs hears so, and takes no groups without names.
func TestARoundForNothing(t *testing.T) {
	at := time.Date(2026, 3, 25, 16, 0, 0, 0, time.UTC)
	site := &forecast.Site{ID: "hill", Name: "Hill", Zone: time.UTC}
	said := &records.Attendance{Kind: records.Going, Person: "ada", Name: "Ada", From: at, To: at.Add(30 * time.Minute)}
	o := &forecast.Outlook{Work: forecast.Work{Rounds: []forecast.CrewRound{{Start: at, End: said.To, Who: []string{"ada"}, Pinned: true}}}}
	for language, want := range map[string]string{"en": "Noted: Ada Wed 4 pm to 4:30 pm. Hardly any sap hangs there then.",
		"fr": "Il n'y aura presque rien à ramasser."} {
		w, err := message.NewWords(message.Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		if got := SayAttendance(w, site, said, nil, o); !strings.Contains(got, want) || strings.Contains(got, " ,") {
			t.Errorf("%s: got %q, want %q", language, got, want)
		}
	}
}
