package engine_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"thawline/alerts/engine"
)

// A step does what its jobs add as well, however they fall in time: none is left.
func TestDrainDoesWhatJobsAdd(t *testing.T) {
	b := newBench(t, local)
	var l *engine.Local
	var done atomic.Int64
	now := time.Date(2026, 3, 1, 18, 30, 0, 0, time.UTC)
	add := func(n int) {
		_ = l.Enqueue(context.Background(), engine.Job{Kind: "ring", Key: fmt.Sprint(n), Queue: "q", At: now})
	}
	var err error
	l, err = engine.OpenLocal(t.Context(), engine.Options{DB: b.db, Postgres: b.pg, Poll: time.Second, Limit: func(string) int { return 3 },
		Workers: []engine.Worker{does{"ring", func(_ context.Context, _ engine.Job) engine.Result {
			if n := done.Add(1); n%200 != 0 {
				add(int(n))
			}
			return engine.Done()
		}}}})
	if err != nil {
		t.Fatal(err)
	}
	for round := range int64(5) {
		add(0)
		l.Drain(t.Context(), now, func(string) bool { return true })
		if got := done.Load(); got != 200*(round+1) {
			t.Fatalf("%d jobs done of %d", got, 200*(round+1))
		}
	}
	_ = l.Enqueue(t.Context(), engine.Job{Kind: "ring", Key: "late", Queue: "q", At: now.Add(time.Minute)})
	l.Drain(t.Context(), now, func(string) bool { return true })
	if got := done.Load(); got != 1000 {
		t.Error("done before its time")
	}
}

// Thousands that wait cost no more than a few: neither when the next falls due nor which
// jobs are taken is found by reading them all. The plans are SQLite's.
func TestWaitingJobsAreNotRead(t *testing.T) {
	b := newBench(t, local)
	if b.pg {
		t.Skip("the plans are SQLite's")
	}
	for name, query := range engine.Queries() {
		rows, err := b.db.QueryContext(t.Context(), "EXPLAIN QUERY PLAN "+query, "q", "2026", "d", "2026", 3)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			var id, parent, unused int
			var step string
			if err := rows.Scan(&id, &parent, &unused, &step); err != nil {
				t.Fatal(err)
			}
			t.Log(name, step)
			if strings.HasPrefix(step, "SCAN") && strings.Contains(step, "engine_job") || strings.HasPrefix(step, "SCAN j") {
				t.Errorf("%s reads all that wait: %s", name, step)
			}
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			t.Fatal(err)
		}
	}
}
