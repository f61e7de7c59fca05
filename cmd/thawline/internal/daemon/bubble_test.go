package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// A season is told by River as it is by the small driver and by steps, to the byte: each
// lives through it as in service, with its own threads and waits, on a clock that goes on
// when everybody waits. THAWLINE_SEASONS names how many times the whole of it, and of 2015,
// is lived through; else it is some days, once.
func TestBothDriversTellTheSame(t *testing.T) {
	if os.Getenv("THAWLINE_TEST_POSTGRES") == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: River is not tried")
	}
	site, truth := kettle(t)
	times, err := strconv.Atoi(os.Getenv("THAWLINE_SEASONS"))
	if err != nil {
		if testing.Short() {
			t.Skip("seasons are lived through in the long pass")
		}
		tellTheSame(t, site, truth, time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC), 2,
			driven{"River on PostgreSQL", beside.Postgres(t), true})
	}
	for range times {
		all := func() []driven {
			return []driven{{"local on a file", filepath.Join(t.TempDir(), "local.db"), false},
				{"local on PostgreSQL", beside.Postgres(t), false}, {"River on PostgreSQL", beside.Postgres(t), true}}
		}
		hill, weather := hill(t)
		tellTheSame(t, hill, weather, time.Date(2015, 2, 20, 12, 0, 0, 0, time.UTC), 64, all()...)
		tellTheSame(t, site, truth, time.Date(2026, 2, 24, 12, 0, 0, 0, time.UTC), 64, all()...)
	}
}

// driven is a daemon by its driver and its database.
type driven struct {
	name, where string
	river       bool
}

func tellTheSame(t *testing.T, site forecast.Site, truth weather.Series, begin time.Time, days int, ways ...driven) {
	t.Helper()
	end := begin.AddDate(0, 0, days)
	box := &recorder{}
	d := started(t, filepath.Join(t.TempDir(), "steps.db"),
		settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": box}), begin)
	began := time.Now()
	through(d, begin, end)
	want := heard(box)
	t.Logf("%s: %d texts in %d days, in steps on a file: %.1f s", site.ID, len(box.got), days, time.Since(began).Seconds())
	if os.Getenv("THAWLINE_SHOW") != "" {
		t.Log(strings.Join(want, "\n"))
	}
	if len(box.got) < days/2 {
		t.Errorf("%d texts in %d days", len(box.got), days)
	}
	for _, how := range ways {
		began, box := time.Now(), &recorder{}
		synctest.Test(t, func(t *testing.T) {
			live(t, how.where, how.river,
				settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": box}), begin, end)
		})
		t.Logf("%s: %.1f s", how.name, time.Since(began).Seconds())
		if d := cmp.Diff(want, heard(box)); d != "" {
			t.Errorf("%s tells otherwise than steps do:\n%s", how.name, d)
		}
	}
}

// heard is what came: when it was decided, for whom, of what kind, and every byte of it.
func heard(box *recorder) []string {
	var all []string
	for i := range box.got {
		m := &box.got[i]
		all = append(all, fmt.Sprint(m.MadeAt.UTC().Format(time.RFC3339Nano), " ", m.Person, " ", m.Kinds, " ", strconv.Quote(m.Text),
			strconv.Quote(m.Texted), strconv.Quote(m.Spoken)))
	}
	return all
}

// live is a daemon as it is in service, in a bubble of its own time: it works whenever
// something is due, as long as it takes, and sleeps in between.
func live(t *testing.T, where string, river bool, s Settings, begin, end time.Time) {
	time.Sleep(time.Until(begin))
	ctx := context.Background()
	a, err := archive.Open(ctx, where)
	if err != nil {
		t.Fatal(err)
	}
	var faults strings.Builder
	d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()),
		Log: slog.New(slog.NewTextHandler(&faults, &slog.HandlerOptions{Level: slog.LevelError})), Metrics: hooks.NewMetrics("test"),
		PlaceKey: func(s *forecast.Site) string { return s.ID },
		Holder:   "daemon", Now: time.Now, Pace: engine.Paces{DB: a.DB()}, River: river}
	if err := d.Use(s, begin); err != nil {
		t.Fatal(err)
	}
	for now := begin; now.Before(end); {
		working, stop := context.WithCancel(ctx)
		ran := make(chan error, 1)
		go func() { ran <- d.Run(working) }()
		d.Plan(ctx, now)
		next := now
		for range 60 {
			time.Sleep(2 * ledger.JoinWithin)
			if next = d.due(ctx, time.Now()); next.After(time.Now()) {
				break
			}
		}
		stop()
		if err := <-ran; err != nil {
			t.Error(err)
		}
		time.Sleep(time.Until(next))
		now = time.Now()
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	if faults.Len() > 0 {
		t.Error(faults.String())
	}
}

// due is when there is something to do next.
func (d *Daemon) due(ctx context.Context, now time.Time) time.Time {
	next := d.NextDue(now)
	if pending, err := d.Ledger.Due(ctx, now.AddDate(1, 0, 0), 1); err == nil && len(pending) > 0 && pending[0].NextAt.Before(next) {
		next = pending[0].NextAt
	}
	return next
}
