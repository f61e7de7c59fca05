package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

// many are members' bushes, each with somebody to tell.
func many(n int, channels map[string]channel.Channel) Settings {
	s := evenSettings("")
	site := s.Sites[0]
	s.Sites, s.Channels, s.People = nil, channels, s.People[:1]
	for i := range n {
		one := site
		one.ID, one.Name = fmt.Sprintf("bush-%02d", i), fmt.Sprintf("Bush %02d", i)
		s.Sites = append(s.Sites, one)
	}
	return s
}

// sharing starts a daemon on a database that others use as well.
func sharing(t *testing.T, where, name string, s Settings, now time.Time) *Daemon {
	t.Helper()
	a, err := archive.Open(context.Background(), where)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"),
		PlaceKey: func(s *forecast.Site) string { return s.ID }, Holder: name,
		River: os.Getenv("THAWLINE_DRIVER") == "river", ListenAt: a.ListenAddress()} // a campaign's, with other engines running
	if err := d.Use(s, now); err != nil {
		t.Fatal(err)
	}
	return d
}

var eveningIn2026 = time.Date(2026, 3, 20, 22, 30, 0, 0, time.UTC) // half past six

// Three daemons on one database, at it at the same moment: every member is told
// once, and the work is shared.
func TestSeveralDaemonsTellOnce(t *testing.T) {
	const members = 24
	where := beside.Where(t, filepath.Join(t.TempDir(), "shared.db"))
	record := &recorder{}
	var wg sync.WaitGroup
	start := eveningIn2026.Add(-time.Minute)
	var daemons []*Daemon
	for i := range 3 {
		daemons = append(daemons, sharing(t, where, fmt.Sprint("daemon ", i), many(members, map[string]channel.Channel{"text": record}),
			start))
	}
	for now := start; now.Before(eveningIn2026.Add(12 * time.Minute)); now = now.Add(15 * time.Second) {
		for _, d := range daemons { // one clock for all, as it is outside of tests
			wg.Go(func() { d.Step(context.Background(), now) })
		}
		wg.Wait()
	}
	told := map[string]int{}
	for _, m := range record.got {
		told[m.Key]++
	}
	evenings := 0
	for i := range record.got {
		if record.got[i].Says("evening") {
			evenings++
		}
	}
	if evenings != members || len(told) != len(record.got) {
		t.Errorf("%d evening texts for %d members, %d messages of %d keys", evenings, members, len(record.got), len(told))
	}
}

// A member hears of the bushes that concern them, and of no other.
func TestMembersHearOfTheirOwnBush(t *testing.T) {
	record := &recorder{}
	s := many(3, map[string]channel.Channel{"text": record})
	for i := range 3 {
		p := s.People[0]
		p.ID, p.Sites, p.Ways = fmt.Sprint("member ", i), []string{s.Sites[i].ID},
			[]channel.Way{{Channel: "text", To: fmt.Sprint("member ", i)}}
		s.People = append(s.People, p)
	}
	s.People = s.People[1:]
	d := sharing(t, filepath.Join(t.TempDir(), "x.db"), "a", s, eveningIn2026.Add(-time.Minute))
	d.Step(context.Background(), eveningIn2026)
	heard := map[string]string{}
	for _, m := range record.got {
		if m.Says("evening") {
			heard[m.To] += m.Name
		}
	}
	if len(heard) != 3 || heard["member 1"] != "Bush 01" {
		t.Errorf("%v", heard)
	}
}

// A daemon dies with work in its hand: the others leave it alone until its lease
// is over, and then do it. One that only stalled finds on coming back that it is
// done, and sends nothing.
func TestLeases(t *testing.T) {
	where := beside.Where(t, filepath.Join(t.TempDir(), "shared.db"))
	record := &recorder{fail: func(channel.Message) error { return errors.New("not yet") }}
	s := many(1, map[string]channel.Channel{"text": record})
	a, b := sharing(t, where, "a", s, eveningIn2026), sharing(t, where, "b", s, eveningIn2026)
	ctx := context.Background()
	a.Step(ctx, eveningIn2026) // decides, tries, and is refused for now
	later := eveningIn2026.Add(10 * time.Minute)
	var stalled []ledger.Delivery
	for _, v := range must[[]ledger.Delivery](t)(a.Ledger.Due(ctx, later, 100)) {
		if mine, taken, err := a.Ledger.Take(ctx, v.ID, "a", later, later.Add(lease)); err != nil || !taken {
			t.Fatal(err)
		} else {
			stalled = append(stalled, mine)
		}
	}
	if len(stalled) == 0 {
		t.Fatal("nothing waits")
	}
	record.fail = nil
	b.Step(ctx, later.Add(time.Minute))
	if n := len(record.got); n != 0 {
		t.Errorf("%d messages taken out of another's hand", n)
	}
	b.Step(ctx, later.Add(lease+time.Minute))
	if n := len(record.got); n != len(stalled) {
		t.Errorf("%d messages after the lease, of %d", n, len(stalled))
	}
	// The one that stalled goes on where it was.
	a.at(later.Add(lease + 2*time.Minute))
	for i := range stalled {
		if r := a.deliverOne(ctx, engine.Job{Kind: Deliver, Key: stalled[i].ID, Queue: outboxOf + "text"},
			later); r.Outcome != engine.IsDone {
			t.Errorf("what another daemon sent: %v", r)
		}
	}
	if n := len(record.got); n != len(stalled) {
		t.Errorf("%d messages after the stalled daemon came back", n)
	}
	if err := a.Ledger.Attempted(ctx, "a", &stalled[0], ledger.Attempt{Number: 9, At: later}); !errors.Is(err, ledger.ErrTaken) {
		t.Errorf("recorded over another's work: %v", err)
	}

	// Jobs likewise; the same name again goes on at once.
	claim := func(holder string, at time.Time) bool {
		ours, err := a.Ledger.ClaimJob(ctx, "bush-00", "evening", "2026-03-25", holder, at, at.Add(jobLease))
		if err != nil {
			t.Fatal(err)
		}
		return ours
	}
	if !claim("a", later) || claim("b", later.Add(time.Minute)) || !claim("a", later.Add(2*time.Minute)) ||
		!claim("b", later.Add(2*time.Minute+jobLease+time.Second)) || claim("a", later.Add(3*time.Minute+jobLease)) {
		t.Error("a job's lease is not kept")
	}
}

// The evening's job is not lost when the daemon that has it in hand dies: another
// one looks again and does it.
func TestEveningOfADeadDaemonIsDone(t *testing.T) {
	where := beside.Where(t, filepath.Join(t.TempDir(), "shared.db"))
	record := &recorder{}
	d := sharing(t, where, "b", many(1, map[string]channel.Channel{"text": record}), eveningIn2026.Add(-time.Minute))
	ctx := context.Background()
	if ours, err := d.Ledger.ClaimJob(ctx, "bush-00", "evening", "2026-03-20", "a", eveningIn2026,
		eveningIn2026.Add(jobLease)); err != nil || !ours {
		t.Fatal(ours, err)
	}
	evenings := func() (n int) {
		for i := range record.got {
			if record.got[i].Says("evening") {
				n++
			}
		}
		return n
	}
	for now := eveningIn2026; now.Before(eveningIn2026.Add(10 * time.Minute)); now = now.Add(30 * time.Second) {
		d.Step(ctx, now)
		if held := now.Before(eveningIn2026.Add(jobLease)); held && evenings() > 0 {
			t.Fatalf("told at %s, while another daemon was at it", now)
		}
	}
	if evenings() != 1 {
		t.Errorf("%d evening texts", evenings())
	}
}

// BenchmarkEvening times the evening of many members through the whole daemon:
// weather at hand, outlook, decision, text, on one database.
func BenchmarkEvening(b *testing.B) {
	const members = 200
	for name, where := range map[string]string{"sqlite": filepath.Join(b.TempDir(), "bench.db"), "postgres": beside.Postgres(b)} {
		if where == "" {
			b.Log("THAWLINE_TEST_POSTGRES names no database: PostgreSQL is not timed")
			continue
		}
		b.Run(name, func(b *testing.B) {
			a, err := archive.Open(context.Background(), where)
			if err != nil {
				b.Fatal(err)
			}
			defer a.Close()
			record := &recorder{}
			d := &Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"),
				PlaceKey: func(s *forecast.Site) string { return s.ID }, Holder: "bench"}
			s := many(members, map[string]channel.Channel{"text": record})
			s.RefreshEvery = 24 * time.Hour
			evening := eveningIn2026
			for b.Loop() {
				if err := d.Use(s, evening.Add(-time.Second)); err != nil {
					b.Fatal(err)
				}
				for _, j := range d.jobs { // the evening alone
					if j.name != "evening" {
						j.next = evening.Add(time.Hour)
					}
				}
				d.Step(context.Background(), evening)
				evening = evening.AddDate(0, 0, 1)
			}
			if len(record.got) < members {
				b.Errorf("%d texts", len(record.got))
			}
			b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N)/members, "ms/member")
		})
	}
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
