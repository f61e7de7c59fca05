package web

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"

	"thawline/forecast"
)

// Days that were kept are those that were worked out, unknown ones too.
func TestDaysAreKeptWhole(t *testing.T) {
	var past forecast.Past
	for i := range 20 {
		d := forecast.PastDay{Date: fmt.Sprintf("2024-02-%02d", 20+i), Known: i%3 != 0, Ran: i%4 == 1}
		if i > 9 {
			d.Date = fmt.Sprintf("2024-03-%02d", i-9)
		}
		if d.Known {
			n := float64(37 * i)
			d.SapL, d.MeanL = forecast.Range{P10: n / 10, P50: (n + 1) / 10, P90: (n + 20003) / 10}, (n+7)/10
			d.TemperatureC = forecast.MinMax{Min: (n - 400) / 10, Max: (n - 123) / 10}
		}
		past.Days = append(past.Days, d)
	}
	document, err := json.Marshal(keepSeason("mark", &past))
	if err != nil {
		t.Fatal(err)
	}
	var kept keptSeason
	if err := json.Unmarshal(document, &kept); err != nil {
		t.Fatal(err)
	}
	if again := kept.past(); kept.Mark != "mark" || !slices.Equal(again.Days, past.Days) {
		t.Errorf("kept\n%+v\nof\n%+v", again.Days, past.Days)
	}
	none := keepSeason("", &forecast.Past{})
	if again := none.past(); len(again.Days) != 0 {
		t.Errorf("%d days of none", len(again.Days))
	}
}

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
