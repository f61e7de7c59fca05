package sections

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// One of something is told as one.
func TestOneTrip(t *testing.T) {
	w, err := message.NewWords(message.Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	for trips, want := range map[int]string{1: "1 round in the coming days, 1 trip in all", 2: "1 round in the coming days, 2 trips in all"} {
		o := &forecast.Outlook{Work: forecast.Work{Rounds: []forecast.CrewRound{{Start: time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC), Trips: trips}}}}
		if parts := OfRounds(o, w, units.US); !strings.Contains(parts[0].Title, want) {
			t.Errorf("%s", parts[0].Title)
		}
	}
}
