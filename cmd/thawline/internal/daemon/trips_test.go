package daemon

import (
	"testing"

	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/forecast/weather/source"
	"thawline/testdata/beside"
)

// mostTrips is how many round trips to PostgreSQL a member's evening may take, from its
// turn to the text that is sent and noted.
const mostTrips = 15

// An evening asks the database seldom: machines are added for their cores, and a database
// in another rack is a millisecond away.
func TestAnEveningTakesFewRoundTrips(t *testing.T) {
	where := beside.Postgres(t)
	if where == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: round trips are not counted")
	}
	const n = 24
	between := beside.NewBetween(t, where)
	box := &recorder{}
	s := members(n, map[string]channel.Channel{"text": box})
	s.Paces = map[string]Pacing{"text": {Rate: engine.Rate{PerSecond: 1000, Burst: 10}}}
	evening := eveningIn2026
	d := sharing(t, between.Address, "a", s, evening.AddDate(0, 0, -1))
	pool, err := d.Archive.OwnPool(8)
	if err != nil {
		t.Fatal(err)
	}
	cells := map[string]string{}
	for i := range s.Sites {
		cells[s.Sites[i].ID] = source.CellOf(s.Sites[i].Place)
	}
	d.Archive.ShareWeather(cells, true)
	d.Outbox, d.Pace = ledger.New(pool), engine.Paces{DB: pool}
	d.local = nil
	if err := d.Use(s, evening.AddDate(0, 0, -1)); err != nil {
		t.Fatal(err)
	}
	for day := range 3 { // connections learn the statements in the first two
		for _, j := range d.jobs { // the evening alone
			if j.next = evening; j.name != "evening" {
				j.next = evening.AddDate(1, 0, 0)
			}
		}
		before, told := between.Trips(), box.evenings()
		d.Step(t.Context(), evening)
		trips := float64(between.Trips()-before) / n
		t.Logf("evening %d: %.1f round trips a member", day+1, trips)
		if got := box.evenings() - told; got != n {
			t.Errorf("%d evening texts of %d", got, n)
		}
		if day == 2 && trips > mostTrips {
			t.Errorf("%.1f round trips a member, at most %d", trips, mostTrips)
		}
		evening = evening.AddDate(0, 0, 1)
	}
}
