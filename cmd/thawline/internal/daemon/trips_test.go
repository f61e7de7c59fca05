package daemon

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/forecast/weather/source"
	"thawline/testdata/beside"
)

// mostTrips is how many round trips to PostgreSQL a member's evening may take, from its
// turn to the text that is sent and noted. A question about an earlier warning takes six more.
const mostTrips = 15

// An evening asks the database seldom: machines are added for their cores, and a database
// in another rack is a millisecond away.
func TestAnEveningTakesFewRoundTrips(t *testing.T) {
	where := beside.Postgres(t)
	if where == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: round trips are not counted")
	}
	const n, neighbours = 36, 6 // with few members the engine's own questions, a dozen or two an evening, would count
	between := beside.NewBetween(t, where)
	box := &recorder{}
	s := members(n, map[string]channel.Channel{"text": box})
	s.Paces = map[string]Pacing{"text": {Rate: engine.Rate{PerSecond: 1000, Burst: 10}}}
	cells := map[string]string{}
	for i := range s.Sites {
		s.Sites[i].Place = s.Sites[i-i%neighbours].Place
		cells[s.Sites[i].ID] = source.CellOf(s.Sites[i].Place)
	}
	d := sharing(t, between.Address, "a", s, eveningIn2026.AddDate(0, 0, -1))
	d.Archive.ShareWeather(cells, true)
	pool, err := d.Archive.OwnPool(4)
	if err != nil {
		t.Fatal(err)
	}
	d.Archive.DB().SetMaxOpenConns(4)
	d.Outbox, d.Pace = ledger.New(pool), engine.Paces{DB: pool}
	d.Outbox.Ring(d.local, d.outboxOf)
	var began atomic.Int64
	d.Now = func() time.Time { return time.Now().Add(time.Duration(began.Load())) }
	ctx, cancel := context.WithCancel(t.Context())
	var wait sync.WaitGroup
	defer wait.Wait()
	defer cancel()
	noted := func() bool {
		var left int
		err := d.Archive.DB().QueryRowContext(ctx, `SELECT COUNT(*) FROM engine_job`).Scan(&left)
		return err == nil && left == 0
	}
	for day := range 2 { // connections learn the statements in the first one
		evening := eveningIn2026.AddDate(0, 0, day)
		for _, j := range d.jobs { // the evening alone
			if j.next = evening; j.name != "evening" {
				j.next = evening.AddDate(1, 0, 0)
			}
		}
		began.Store(int64(time.Until(evening)))
		before, told := between.Trips(), box.evenings()
		d.Plan(ctx, evening)
		if day == 0 {
			wait.Go(func() { _ = d.Run(ctx) })
		}
		until(t, time.Minute, func() bool { return box.evenings()-told == n })
		trips := float64(between.Trips()-before) / n
		until(t, time.Minute, noted)
		t.Logf("evening %d: %.1f round trips a member", day+1, trips)
		if day == 1 && trips > mostTrips {
			t.Errorf("%.1f round trips a member, at most %d", trips, mostTrips)
		}
	}
}
