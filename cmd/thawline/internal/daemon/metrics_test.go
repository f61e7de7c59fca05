package daemon

import (
	"context"
	"math"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/testdata/beside"
)

// series are the sites that stand in the metrics.
func series(t *testing.T, m *hooks.Metrics) string {
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
			d.Metrics.JobFailed("evening", id)
			d.Metrics.JobDone("refresh", id, now)
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

// figure is the value of a series, named as Prometheus does, with labels in the order
// of the alphabet; NaN if there is none.
func figure(t *testing.T, m *hooks.Metrics, name string) float64 {
	t.Helper()
	families, err := m.Registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range families {
		for _, metric := range f.GetMetric() {
			var labels []string
			for _, l := range metric.GetLabel() {
				labels = append(labels, l.GetName()+"="+l.GetValue())
			}
			if f.GetName()+"{"+strings.Join(labels, ",")+"}" == name {
				return metric.GetGauge().GetValue() + metric.GetCounter().GetValue()
			}
		}
	}
	return math.NaN()
}

// A bush that is taken out is not the oldest of many for ever.
func TestOldestOfManyForgetsRemovedSites(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), many(Many+2, nil), now)
	old := now.Add(-48 * time.Hour)
	d.Metrics.JobDone("evening", "bush-21", old)
	const series = "thawline_job_last_success_timestamp_seconds{site=all,task=evening}"
	if got := figure(t, d.Metrics, series); got != float64(old.Unix()) {
		t.Errorf("the oldest is of %g, want %d", got, old.Unix())
	}
	if err := d.Use(many(Many+1, nil), now); err != nil {
		t.Fatal(err)
	}
	d.Metrics.JobDone("evening", "bush-21", old) // its work ends after it was taken out
	if got := figure(t, d.Metrics, series); got != float64(now.Unix()) {
		t.Errorf("the oldest is of %g, want %d", got, now.Unix())
	}
}

// An alert needs a figure before anything went wrong: counters begin at zero, moments
// with the start, for a site that comes later as for those that were there.
func TestMetricsBeforeAnythingHappened(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	use := func(n int) Settings {
		s := many(n, map[string]channel.Channel{"text": &recorder{}})
		s.Services = []string{"open_meteo", "nws"}
		return s
	}
	path := filepath.Join(t.TempDir(), "d.db")
	d := started(t, path, use(1), now)
	later := now.Add(time.Hour)
	d.Metrics.JobFailed("evening", "bush-00")
	d.Metrics.JobDone("evening", "bush-00", now.Add(time.Minute))
	if err := d.Use(use(2), later); err != nil {
		t.Fatal(err)
	}
	for series, want := range map[string]float64{
		"thawline_job_failures_total{site=bush-00,task=evening}":                  1, // a reload forgets nothing
		"thawline_job_last_success_timestamp_seconds{site=bush-00,task=evening}":  float64(now.Add(time.Minute).Unix()),
		"thawline_job_last_success_timestamp_seconds{site=bush-00,task=refresh}":  float64(now.Unix()),
		"thawline_job_failures_total{site=bush-01,task=evening}":                  0,
		"thawline_job_failures_total{site=bush-01,task=housekeeping}":             0,
		"thawline_job_last_success_timestamp_seconds{site=bush-01,task=evening}":  float64(later.Unix()),
		"thawline_forecast_issued_timestamp_seconds{site=bush-01}":                float64(later.Unix()),
		"thawline_source_failures_total{service=nws,site=bush-00}":                0,
		"thawline_decisions_total{kind=stale_feed}":                               0,
		"thawline_delivery_attempts_total{channel=text,outcome=refused}":          0,
		"thawline_deliveries_total{state=failed}":                                 0,
		"thawline_deliveries_total{state=expired}":                                0,
		"thawline_job_failures_total{site=all,task=evening}":                      math.NaN(),
		"thawline_job_failures_total{site=bush-00,task=weather}":                  math.NaN(), // there is no such work for few
		"thawline_run_probability_ratio{day=1,site=bush-00}":                      math.NaN(), // nobody knows
		"thawline_deliveries_total{state=held}":                                   math.NaN(), // never counted
		"thawline_delivery_attempts_total{channel=none,outcome=refused}":          math.NaN(),
		"thawline_source_failures_total{service=environment_canada,site=bush-00}": math.NaN(),
	} {
		if got := figure(t, d.Metrics, series); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("%s %g, want %g", series, got, want)
		}
	}
	if err := d.Use(use(Many+1), later); err != nil {
		t.Fatal(err)
	}
	for series, want := range map[string]float64{
		"thawline_job_failures_total{site=all,task=weather}":                 0,
		"thawline_source_failures_total{service=nws,site=all}":               0,
		"thawline_decisions_total{kind=evening}":                             0,
		"thawline_job_last_success_timestamp_seconds{site=all,task=evening}": float64(now.Add(time.Minute).Unix()),
		"thawline_forecast_issued_timestamp_seconds{site=all}":               float64(now.Unix()),
	} {
		if got := figure(t, d.Metrics, series); got != want {
			t.Errorf("of many: %s %g, want %g", series, got, want)
		}
	}
	if got := series(t, d.Metrics); got != "all" {
		t.Errorf("of many there are series of %s", got)
	}
}

// A daemon that comes back, or shares the work with others, shows what is so and not
// what it did itself: neither alert fires because another one was quicker.
func TestMetricsOfWorkThatOthersDid(t *testing.T) {
	where := beside.Where(t, filepath.Join(t.TempDir(), "shared.db"))
	start := eveningIn2026.Add(-time.Minute)
	record := &recorder{}
	a := sharing(t, where, "a", many(1, map[string]channel.Channel{"text": record}), start)
	b := sharing(t, where, "b", many(1, map[string]channel.Channel{"text": record}), start.AddDate(0, 0, -2))
	a.Step(context.Background(), eveningIn2026)
	for _, j := range b.jobs { // as if it had been there all the time
		j.next = eveningIn2026
	}
	b.Step(context.Background(), eveningIn2026.Add(time.Minute))
	if got := figure(t, b.Metrics, "thawline_job_last_success_timestamp_seconds{site=bush-00,task=evening}"); got != float64(
		eveningIn2026.Add(time.Minute).Unix()) {
		t.Errorf("the evening that another daemon told: %g, want %d", got, eveningIn2026.Add(time.Minute).Unix())
	}
	evenings := 0
	for _, m := range record.got {
		if m.Says(alerts.Evening) {
			evenings++
		}
	}
	if evenings != 1 {
		t.Errorf("%d evening texts", evenings)
	}

	issued := func(d *Daemon) float64 {
		answer := httptest.NewRecorder()
		hooksOf(d).Handler(time.Now).ServeHTTP(answer, httptest.NewRequest("GET", "/metrics", nil))
		if answer.Code != 200 {
			t.Fatalf("%d %s", answer.Code, answer.Body)
		}
		return figure(t, d.Metrics, "thawline_forecast_issued_timestamp_seconds{site=bush-00}")
	}
	before := issued(a)
	c := sharing(t, where, "c", many(1, nil), eveningIn2026.Add(time.Hour))
	if got := issued(c); got != before {
		t.Errorf("after a start the forecast is of %g, want %g", got, before)
	}
	a.Step(context.Background(), eveningIn2026.Add(7*time.Hour))
	after := issued(a)
	if got := issued(c); got != after || after == before {
		t.Errorf("with a newer forecast of another daemon: %g, want %g, before %g", got, after, before)
	}
}

// A bush has at most forty series of its own, by every service and with everything known
// of it; above twenty bushes none has any.
func TestFewSeriesForEachBush(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	for _, c := range []struct{ bushes, most int }{{2, 40}, {Many + 1, 0}} {
		bushes, most := c.bushes, c.most
		s := many(bushes, map[string]channel.Channel{"text": &recorder{}})
		s.Services = []string{"nws", "met_norway", "environment_canada", "open_meteo"}
		s.Asker = &watched{Asker: s.Asker}
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
		if bushes <= Many {
			d.Step(t.Context(), now)
		}
		families, err := d.Metrics.Registry.Gather()
		if err != nil {
			t.Fatal(err)
		}
		count := 0
		for _, f := range families {
			for _, metric := range f.GetMetric() {
				for _, l := range metric.GetLabel() {
					if l.GetName() == "site" && l.GetValue() == "bush-00" {
						count++
					}
				}
			}
		}
		if count > most || most > 0 && count < 25 {
			t.Errorf("of %d bushes one has %d series, at most %d are wanted", bushes, count, most)
		}
		t.Logf("of %d bushes one has %d series", bushes, count)
	}
}
