package daemon

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

// Behind PgBouncer in its transaction mode, with fewer connections than a daemon opens,
// every bush gets its outlook and every message goes out once, whichever driver does it.
func TestEveningBehindPgBouncer(t *testing.T) {
	if testing.Short() {
		t.Skip("both drivers go through PgBouncer by their contract in the short pass")
	}
	const bushes = 12
	where := beside.PgBouncer(t, 4)
	evening := time.Date(time.Now().Year()+1, 3, 1, 18, 31, 0, 0, newYork(t))
	got, server := inbox(t)
	defer server.Close()
	for _, driver := range []struct {
		name  string
		river bool
	}{{"local", false}, {"river", true}} {
		t.Run(driver.name, func(t *testing.T) {
			a, err := archive.Open(t.Context(), where)
			if err != nil {
				t.Fatal(err)
			}
			defer a.Close()
			if a.ListenAddress() != "" {
				t.Error("it listens behind PgBouncer")
			}
			outbox, err := a.OwnPool(8)
			if err != nil {
				t.Fatal(err)
			}
			clock, err := engine.OpenClock(t.Context(), outbox, time.Now)
			if err != nil {
				t.Fatal(err)
			}
			shift := time.Until(evening)
			d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Outbox: ledger.New(outbox),
				Log:      slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError})),
				Metrics:  hooks.NewMetrics("test"),
				PlaceKey: func(s *forecast.Site) string { return s.ID }, Holder: driver.name,
				Now: func() time.Time { return clock.Now().Add(shift) }, Pace: engine.Paces{DB: outbox}, River: driver.river,
				ListenAt: a.ListenAddress()}
			if err := tellAll(d, server.URL, bushes-1); err != nil {
				t.Error(err)
			}
			for id := range d.sites {
				if d.Outlook(context.Background(), id) == nil {
					t.Errorf("no outlook of %s", id)
				}
			}
			evening = evening.AddDate(0, 0, 1)
		})
	}
	if messages, doubles := audit(t, where, got); doubles > 0 || messages < 2*3*bushes {
		t.Errorf("%d messages, %d of them twice", messages, doubles)
	}
}
