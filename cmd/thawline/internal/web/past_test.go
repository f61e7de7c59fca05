package web

import (
	"fmt"
	"testing"

	"thawline/forecast"
)

// A few seasons are kept, those that were looked at last; one that has changed is not
// found.
func TestFewSeasonsAreKept(t *testing.T) {
	var s pastSeasons
	first := &forecast.Past{}
	s.keep("first", "a", first)
	for i := range 3 * mostPast {
		s.keep(fmt.Sprint(i), "a", nil)
		if past, found := s.find("first", "a"); !found || past != first {
			t.Fatalf("what is looked at was let go after %d", i)
		}
	}
	if len(s.kept) != mostPast {
		t.Errorf("%d seasons are kept", len(s.kept))
	}
	if _, found := s.find("first", "b"); found {
		t.Error("a changed season is found as it was")
	}
}
