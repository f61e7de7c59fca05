package hooks

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"thawline/forecast"
)

// The oldest moment is that which is found by looking at each, whatever moves on or back.
func TestOldestMoment(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 31))
	m, by := newMoments(50), map[string]time.Time{}
	if !m.oldest().IsZero() {
		t.Error("nothing has a moment")
	}
	for range 5000 {
		site, at := fmt.Sprint("bush ", rng.IntN(50)), time.Unix(int64(rng.IntN(900)), 0)
		m.set(site, at)
		by[site] = at
		var oldest time.Time
		for _, at := range by {
			if oldest.IsZero() || at.Before(oldest) {
				oldest = at
			}
		}
		if known, there := m.of(site); !there || !known.Equal(at) || !m.oldest().Equal(oldest) {
			t.Fatalf("oldest %s, which is %s; %s at %s, which is %s", m.oldest(), oldest, site, known, at)
		}
	}
	if _, known := m.of("nobody's"); known || len(m.list) != len(by) {
		t.Errorf("%d moments of %d sites", len(m.list), len(by))
	}
}

// Of many sites the metric is the one that stands still, until it moves on; a site that is
// not there any more counts for nothing.
func TestMomentOfManyIsTheOldest(t *testing.T) {
	m, sites := watchedMany(30)
	issued := func() float64 {
		families, err := m.Registry.Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			if f.GetName() == "thawline_forecast_issued_timestamp_seconds" && len(f.GetMetric()) == 1 {
				return f.GetMetric()[0].GetGauge().GetValue()
			}
		}
		return -1
	}
	for i := range 29 {
		m.moment(ofForecast, fmt.Sprint("bush ", i), time.Unix(9000, 0))
	}
	if got := issued(); got != 1000 {
		t.Errorf("%v, while one stands still since 1000", got)
	}
	m.moment(ofForecast, "bush 29", time.Unix(8000, 0))
	m.moment(ofForecast, "gone", time.Unix(5, 0))
	if got := issued(); got != 8000 {
		t.Errorf("%v, where the oldest is 8000", got)
	}
	delete(sites, "bush 29")
	m.Watch(Watched{Sites: sites, Many: true, Now: time.Unix(9500, 0)})
	if got := issued(); got != 9000 {
		t.Errorf("%v once the oldest is gone", got)
	}
}

func watchedMany(n int) (*Metrics, map[string]*forecast.Site) {
	sites := map[string]*forecast.Site{}
	for i := range n {
		sites[fmt.Sprint("bush ", i)] = &forecast.Site{}
	}
	m := NewMetrics("test")
	m.Watch(Watched{Sites: sites, Many: true, Tasks: []string{"evening"}, Now: time.Unix(1000, 0)})
	return m, sites
}

// BenchmarkMoments times what an evening of 100,000 sites notes: each moves on once, in
// the order of the evening before, so that it is always the oldest that does.
func BenchmarkMoments(b *testing.B) {
	const sites = 100_000
	m, _ := watchedMany(sites)
	at := time.Unix(2000, 0)
	for b.Loop() {
		for i := range sites {
			at = at.Add(time.Millisecond)
			m.JobDone("evening", fmt.Sprint("bush ", i), at)
		}
	}
}
