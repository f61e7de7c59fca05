package daemon

import (
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/weather"
)

// What was seen goes to bushes near by that share theirs, on its own day: to nobody else, not
// back to the bush itself, not tomorrow, and no longer once it is taken back.
func TestEyesOfNeighbours(t *testing.T) {
	at := time.Date(2026, 3, 14, 15, 0, 0, 0, time.UTC)
	site := func(id string, latitude float64, shares bool) *forecast.Site {
		return &forecast.Site{ID: id, Zone: time.UTC, Place: weather.Place{LatitudeDeg: latitude, LongitudeDeg: -72},
			Shares: forecast.Shares{Seen: shares}}
	}
	here, there, far, mute := site("here", 44, true), site("there", 44.2, true), site("far", 49, true), site("mute", 44.1, false)
	saw := func(s *forecast.Site) *forecast.Outlook {
		return &forecast.Outlook{Site: s.ID, IssuedAt: at, Seen: &forecast.Nearby{Place: s.Place}}
	}
	var e eyes
	e.keep(here, saw(here))
	e.keep(mute, saw(mute))
	for _, c := range []struct {
		of   *forecast.Site
		at   time.Time
		want int
	}{{there, at, 1}, {here, at, 0}, {far, at, 0}, {mute, at, 0}, {there, at.AddDate(0, 0, 1), 0}, {there, at.Add(-time.Minute), 0}} {
		if got := e.near(c.of, c.at); len(got) != c.want {
			t.Errorf("%s at %s: %d, not %d", c.of.ID, c.at, len(got), c.want)
		}
	}
	e.keep(here, &forecast.Outlook{Site: "here", IssuedAt: at})
	if got := e.near(there, at); len(got) != 0 {
		t.Errorf("what was taken back is still told: %d", len(got))
	}
}
