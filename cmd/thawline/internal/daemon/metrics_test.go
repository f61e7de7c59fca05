package daemon

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
)

// series are the sites that stand in the metrics.
func series(t *testing.T, m *Metrics) string {
	t.Helper()
	families, err := m.Registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	var out []string
	for _, f := range families {
		for _, metric := range f.GetMetric() {
			for _, l := range metric.GetLabel() {
				if l.GetName() == "site" && !seen[l.GetValue()] {
					seen[l.GetValue()] = true
					out = append(out, l.GetValue())
				}
			}
		}
	}
	return strings.Join(out, " ")
}

// Bushes that are taken out of the settings leave the metrics, and so does what was
// counted for each once there are many, or for all once there are few.
func TestMetricsOfRemovedSites(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), many(2, nil), now)
	count := func() {
		for id := range d.sites {
			d.Metrics.decided(id, alerts.Evening)
			d.Metrics.jobDone("refresh", id, now)
		}
	}
	for _, c := range []struct {
		bushes int
		want   string
	}{{2, "bush-00 bush-01"}, {1, "bush-00"}, {Many + 1, "all"}, {1, "bush-00"}} {
		if err := d.Use(many(c.bushes, nil), now); err != nil {
			t.Fatal(err)
		}
		count()
		if got := series(t, d.Metrics); got != c.want {
			t.Errorf("%d bushes: %q, want %q", c.bushes, got, c.want)
		}
	}
}

// A bush that is taken out is not the oldest of many for ever.
func TestOldestOfManyForgetsRemovedSites(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), many(Many+2, nil), now)
	d.Metrics.oldestOf("issued", "bush-21", now.Add(-48*time.Hour))
	if err := d.Use(many(Many+1, nil), now); err != nil {
		t.Fatal(err)
	}
	if at := d.Metrics.oldestOf("issued", "bush-00", now); !at.Equal(now) {
		t.Errorf("the oldest is of %s", at)
	}
}
