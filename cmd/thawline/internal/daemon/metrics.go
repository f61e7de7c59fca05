package daemon

import (
	"maps"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// Metrics are what is seen from outside.
type Metrics struct {
	Registry *prometheus.Registry

	issued      *prometheus.GaugeVec
	probability *prometheus.GaugeVec
	volume      *prometheus.GaugeVec
	failures    *prometheus.CounterVec
	jobSuccess  *prometheus.GaugeVec
	jobFailures *prometheus.CounterVec
	decisions   *prometheus.CounterVec
	attempts    *prometheus.CounterVec
	deliveries  *prometheus.CounterVec
	lag         prometheus.Histogram

	all atomic.Bool

	mu     sync.Mutex
	oldest map[string]map[string]time.Time // moments by figure and site, where sites are summed
}

// oldestOf notes a moment of a site, and gives the oldest of all: what stands for many
// sites must not hide one that stands still.
func (m *Metrics) oldestOf(figure, site string, at time.Time) time.Time {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.oldest == nil {
		m.oldest = map[string]map[string]time.Time{}
	}
	if m.oldest[figure] == nil {
		m.oldest[figure] = map[string]time.Time{}
	}
	m.oldest[figure][site] = at
	for _, t := range m.oldest[figure] {
		if t.Before(at) {
			at = t
		}
	}
	return at
}

// ofAll stands where a site's id would, once there are so many sites that a series
// for each would be too much.
const ofAll = "all"

// of says which sites there are, after others, and whether they are many: what was
// counted of sites that have no series any more goes.
func (m *Metrics) of(sites, before map[string]*forecast.Site, many bool) {
	were := m.all.Swap(many)
	for id := range before {
		if sites[id] == nil || many && !were {
			m.forget(id)
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if were && !many {
		m.forget(ofAll)
		m.oldest = nil
	}
	for _, of := range m.oldest { // else one that is gone would stay the oldest for ever
		maps.DeleteFunc(of, func(id string, _ time.Time) bool { return sites[id] == nil })
	}
}

func (m *Metrics) forget(site string) {
	for _, series := range []interface{ DeletePartialMatch(prometheus.Labels) int }{m.issued, m.probability, m.volume, m.failures, m.jobSuccess, m.jobFailures, m.decisions} {
		series.DeletePartialMatch(prometheus.Labels{"site": site})
	}
}

func (m *Metrics) site(id string) string {
	if m.all.Load() {
		return ofAll
	}
	return id
}

// NewMetrics registers them.
func NewMetrics(version string) *Metrics {
	site := []string{"site"}
	m := &Metrics{
		Registry:    prometheus.NewRegistry(),
		issued:      prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_forecast_issued_timestamp_seconds", Help: "When the newest forecast of a site was issued; of many sites together, the oldest of these."}, site),
		probability: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_run_probability_ratio", Help: "Chance of a run, by days from today."}, []string{"site", "day"}),
		volume:      prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_sap_volume_liters", Help: "Sap to be expected on a day (percentile 10, 50 and 90), by days from today."}, []string{"site", "day", "percentile"}),
		failures:    prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_source_failures_total", Help: "Weather services that gave nothing usable."}, []string{"site", "service"}),
		jobSuccess:  prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_job_last_success_timestamp_seconds", Help: "When a task last did its work; of many sites together, where that was longest ago."}, []string{"task", "site"}),
		jobFailures: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_job_failures_total", Help: "Tasks that failed."}, []string{"task", "site"}),
		decisions:   prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_decisions_total", Help: "Decisions to tell people something."}, []string{"site", "kind"}),
		attempts:    prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_delivery_attempts_total", Help: "Attempts to deliver, by channel and outcome."}, []string{"channel", "outcome"}),
		deliveries:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_deliveries_total", Help: "Deliveries that came to an end, by state."}, []string{"state"}),
		lag:         prometheus.NewHistogram(prometheus.HistogramOpts{Name: "thawline_delivery_lag_seconds", Help: "From decision to acceptance by a channel.", Buckets: []float64{1, 5, 15, 60, 300, 900, 3600, 4 * 3600, 12 * 3600}}),
	}
	build := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_build_info", Help: "Version of the program; always 1."}, []string{"version"})
	build.WithLabelValues(version).Set(1)
	m.Registry.MustRegister(build, m.issued, m.probability, m.volume, m.failures, m.jobSuccess, m.jobFailures, m.decisions, m.attempts, m.deliveries, m.lag,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

func (m *Metrics) outlook(o *forecast.Outlook) {
	if m.all.Load() {
		m.issued.WithLabelValues(ofAll).Set(float64(m.oldestOf("issued", o.Site, o.Source.IssuedAt).Unix()))
		return
	}
	m.issued.WithLabelValues(o.Site).Set(float64(o.Source.IssuedAt.Unix()))
	for i, d := range o.Days[:min(4, len(o.Days))] {
		day := string(rune('0' + i))
		m.probability.WithLabelValues(o.Site, day).Set(d.RunProbability)
		m.volume.WithLabelValues(o.Site, day, "10").Set(d.VolumeL.P10)
		m.volume.WithLabelValues(o.Site, day, "50").Set(d.VolumeL.P50)
		m.volume.WithLabelValues(o.Site, day, "90").Set(d.VolumeL.P90)
	}
}

func (m *Metrics) sourceFailed(site, service string) {
	m.failures.WithLabelValues(m.site(site), service).Inc()
}

func (m *Metrics) jobFailed(job, site string) { m.jobFailures.WithLabelValues(job, m.site(site)).Inc() }

func (m *Metrics) jobDone(job, site string, at time.Time) {
	if m.all.Load() {
		at = m.oldestOf("job "+job, site, at)
	}
	m.jobSuccess.WithLabelValues(job, m.site(site)).Set(float64(at.Unix()))
}

func (m *Metrics) decided(site string, kind alerts.Kind) {
	m.decisions.WithLabelValues(m.site(site), string(kind)).Inc()
}

func (m *Metrics) attempted(channel, outcome string) {
	m.attempts.WithLabelValues(channel, outcome).Inc()
}

func (m *Metrics) delivered(v *ledger.Delivery, now time.Time) {
	m.deliveries.WithLabelValues(string(v.State)).Inc()
	if v.State == ledger.Sent {
		m.lag.Observe(now.Sub(v.MadeAt).Seconds())
	}
}
