package hooks

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts/feed"
	"thawline/forecast"
	"thawline/forecast/weather"
)

// Outside the household a bush is told to a tenth of a degree, within ten kilometres, unless
// its people agreed to more: the official warnings' circle says no more either.
func TestWarningsTellNoPlaceThatIsPrivate(t *testing.T) {
	site := &forecast.Site{ID: "hill", Name: "Hill", Zone: time.UTC, Place: weather.Place{LatitudeDeg: 42.44853, LongitudeDeg: -72.68061}}
	for _, agreed := range []bool{false, true} {
		site.Shares.Place = agreed
		latitude, longitude, radius := toldPlace(site)
		at := time.Date(2026, 3, 20, 18, 0, 0, 0, time.UTC)
		body, err := feed.CAP(&feed.Warning{ID: "0195-abc", Sender: "thawline@thawline.invalid", Sent: at, Expires: at.Add(time.Hour),
			Event: "danger", Headline: "Wind", Description: "d", Language: "en-US", AreaName: "Hill", LatitudeDeg: latitude,
			LongitudeDeg: longitude, RadiusKM: radius})
		if err != nil {
			t.Fatal(err)
		}
		exact := strings.Contains(string(body), "42.4485")
		if rough := strings.Contains(string(body), "<circle>42.4,-72.7 10.0</circle>"); exact != agreed || rough == agreed {
			t.Errorf("agreed %t: %s", agreed, body)
		}
	}
}
