package alerts_test

import (
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/message"
	"thawline/forecast/units"
)

// Two booked visits a season bring at most five texts each, from a week before to the visit:
// its three steps at the most, what changed, and what danger does to it; nothing after it.
func TestTextsOfBookedVisits(t *testing.T) {
	en, err := message.NewWords(message.Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	all, visits := 0, 0
	for _, season := range alerts.SchoolSeasons(t) {
		for k := range season.Visits {
			c := &season.Visits[k]
			steps, texts := map[string]int{}, 0
			for i := range season.Told {
				d := &season.Told[i]
				if d.Facts.Class.ID != c.ID {
					continue
				}
				texts++
				lead := c.Start().Sub(season.At[i])
				if lead < 0 || lead > 8*24*time.Hour || d.Until.After(c.Start()) {
					t.Errorf("%s: %s is told %s before the visit", season.Season, d.Key, lead)
				}
				if steps[d.Key]++; steps[d.Key] > 1 {
					t.Errorf("%s: %s is told twice", season.Season, d.Key)
				}
				t.Logf("%s %s %s", season.Season, season.At[i].Format("Mon 2 Jan 15:04"), en.Alert(d, season.Outlooks[i]))
			}
			if texts < 2 || texts > 5 {
				t.Errorf("%s: %d texts of the visit on %s", season.Season, texts, c.Day.Format(time.DateOnly))
			}
			all, visits = all+texts, visits+1
		}
	}
	t.Logf("%d texts of %d visits", all, visits)
}
