package web

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/records"
)

// A guess of a past day becomes points for the class, for ours and for the plain rule, by
// what was seen; a day that nobody saw is asked about and not scored.
func TestClassIsScored(t *testing.T) {
	words, err := message.NewWords(message.Reader{Language: "en"})
	if err != nil {
		t.Fatal(err)
	}
	v := &view{words: words.Open(), Site: &forecast.Site{Zone: time.UTC}}
	b := &classBody{Day: "2026-03-22"}
	b.scored(v, []records.ClassGuess{
		{Day: "2026-03-19", Yes: 20, No: 0, Ours: 0.2, Rule: true},
		{Day: "2026-03-20", Yes: 10, No: 10, Ours: 0.9, Rule: false},
		{Day: "2026-03-21", Yes: 3, No: 9, Ours: 0.5, Rule: true},
	}, map[string]bool{"2026-03-19": true, "2026-03-20": false}, "2026-03-21")
	if len(b.Scores) != 3 || !b.Came || b.Guessed != "" || len(b.Ours) != 0 {
		t.Fatalf("%+v", b)
	}
	if got := strings.Join(b.Scores[1][1:], " "); got != "10 4 10 Yes, it dripped" {
		t.Errorf("a day that dripped: %q", got)
	}
	if got := strings.Join(b.Scores[2][1:], " "); got != "8 2 10 No, it did not" {
		t.Errorf("a day that did not: %q", got)
	}
	if !strings.Contains(b.Sum, "you 18, this page 6, the old rule 20") {
		t.Error(b.Sum)
	}
}
