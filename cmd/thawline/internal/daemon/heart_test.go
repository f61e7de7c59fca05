package daemon

import (
	"context"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/forecast"
)

// slow answers once it is let go.
type slow struct {
	regional
	let   chan struct{}
	asked *atomic.Int64
}

func (s slow) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	s.asked.Add(1)
	select {
	case <-s.let:
	case <-ctx.Done():
	}
	return s.regional.Ask(ctx, site, now)
}

// The watchdog is fed while five hundred cells are slow to answer: what is due is begun
// without waiting for any of them, and as many are asked at a time as may be.
func TestTheHeartBeatsWhileCellsAreSlow(t *testing.T) {
	const n = 500
	s := members(n, map[string]channel.Channel{"text": &recorder{}})
	for i := range s.Sites {
		s.Sites[i].Place.LatitudeDeg, s.Sites[i].Place.LongitudeDeg = 43.05+0.1*float64(i/25), -73.95+0.1*float64(i%25)
	}
	sky := slow{let: make(chan struct{}), asked: &atomic.Int64{}}
	s.Asker = sky
	d := sharing(t, filepath.Join(t.TempDir(), "d.db"), "a", s, eveningIn2026)
	d.Work = []string{Fetch}
	ctx, cancel := context.WithCancel(t.Context())
	var wait sync.WaitGroup
	defer wait.Wait()
	defer cancel()
	if !d.Plan(ctx, eveningIn2026) {
		t.Error("no beat before anything runs")
	}
	wait.Go(func() { _ = d.Run(ctx) })
	until(t, time.Minute, func() bool { return sky.asked.Load() == fetchers })
	for i := range 20 {
		if !d.Plan(ctx, eveningIn2026.Add(time.Duration(i)*time.Second)) {
			t.Error("no beat while cells are slow")
		}
	}
	if asked := sky.asked.Load(); asked != fetchers {
		t.Errorf("%d questions at a time, want %d", asked, fetchers)
	}
	close(sky.let)
	until(t, time.Minute, func() bool { return sky.asked.Load() == n })
	if !d.Plan(ctx, eveningIn2026.Add(time.Minute)) {
		t.Error("no beat afterwards")
	}
}
