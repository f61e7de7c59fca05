package web

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

// The computed past never judges itself: of evenings whose next day nobody saw, nothing is
// said to have been right, however sure the weather is.
func TestComputedPastJudgesNothing(t *testing.T) {
	v := speaking(t, "en", units.US)
	v.Site = &forecast.Site{ID: "kettle", Zone: time.UTC, Groups: []forecast.Group{{ID: "ridge", Taps: 100}}}
	var evenings []forecast.Evening
	past := &forecast.Past{}
	for _, c := range []struct {
		evening, next string
		chance        float64
	}{{"2026-03-10", "2026-03-11", 0.9}, {"2026-03-11", "2026-03-12", 0.95}, {"2026-03-12", "2026-03-13", 0.1},
		{"2026-03-13", "2026-03-14", 0.2}, {"2026-03-14", "2026-03-15", 0.8}} {
		evenings = append(evenings, forecast.Evening{Date: c.evening, Days: []forecast.Day{{Date: c.next, RunProbability: c.chance}}})
		past.Days = append(past.Days, forecast.PastDay{Date: c.next, Known: true, Ran: c.chance > 0.5})
	}
	show := func(seen map[string]bool) string {
		b := skillOf(v, past, evenings, seen)
		b.Verdicts = &verdictsBody{Kept: v.wordsKept(evenings, seen)}
		v.Body = b
		var out strings.Builder
		if err := templates["skill"].Execute(&out, v); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	page := show(nil)
	for _, not := range []string{"were right", "evening was right", "What it said, and what people saw", "curve"} {
		if strings.Contains(page, not) {
			t.Errorf("nobody saw anything, and the page says %q", not)
		}
	}
	for _, want := range []string{"Nobody has seen yet", "11 Mar: nobody saw"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the page", want)
		}
	}
	page = show(map[string]bool{"2026-03-11": true, "2026-03-12": false, "2026-03-13": false, "2026-03-14": true})
	for _, want := range []string{"2 of 4 evenings were right", "11 Mar: right: it said a run, and sap ran",
		"12 Mar: wrong: it said a run, and none came", "13 Mar: right: it said no run", "14 Mar: wrong: sap ran", "15 Mar: nobody saw"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the page", want)
		}
	}
}
