package hooks

import (
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/intake"
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
	stored      *prometheus.GaugeVec
	attempts    *prometheus.CounterVec
	deliveries  *prometheus.CounterVec
	lag         prometheus.Histogram
	records     *prometheus.CounterVec
	textsIn     *prometheus.CounterVec

	all atomic.Bool

	mu      sync.Mutex
	moments map[string]*moments // of sites, by task (or ofForecast)
}

// ofForecast is the key of moments at which forecasts were issued, among those of tasks.
const ofForecast = ""

// ofAll stands where a site's id would, once there are so many sites that a series
// for each would be too much.
const ofAll = "all"

// StorageFault is why the records can't be written, "" if they can.
type StorageFault string

// The faults.
const (
	DiskFull    StorageFault = "disk_full"
	Unreachable StorageFault = "unreachable" // the database is away, held by another program, or may only be read
)

// storage shows whether the records can be written.
func (m *Metrics) storage(fault StorageFault) {
	for _, f := range []StorageFault{DiskFull, Unreachable} {
		value := 0.0
		if f == fault {
			value = 1
		}
		m.stored.WithLabelValues(string(f)).Set(value)
	}
}

// Watched is what figures are about.
type Watched struct {
	Sites    map[string]*forecast.Site
	Many     bool // too many for series of their own
	Tasks    []string
	Kinds    []alerts.Kind
	Services []string
	Channels []string
	Now      time.Time
	Issued   map[string]time.Time // of the outlooks that are there already
}

// Watch makes the series of what is new, and takes away those of sites that are gone.
// Counters begin at zero, since Prometheus sees no increase in a series that is born
// with its first failure; moments begin at the start, so that what never goes well
// grows old from then on.
func (m *Metrics) Watch(w Watched) {
	m.mu.Lock()
	defer m.mu.Unlock()
	turned := m.all.Swap(w.Many) != w.Many
	if turned {
		m.forget(ofAll)
	}
	before := m.moments
	if known := before[ofForecast]; known != nil {
		for i := range known.list {
			if id := known.list[i].site; turned || w.Sites[id] == nil {
				m.forget(id)
			}
		}
	}
	m.moments = map[string]*moments{}
	for _, figure := range append([]string{ofForecast}, w.Tasks...) {
		of := newMoments(len(w.Sites))
		for id := range w.Sites {
			at := w.Now
			if issued, known := w.Issued[id]; known && figure == ofForecast {
				at = issued
			}
			if was, known := before[figure].of(id); known {
				at = was
			}
			of.set(id, at)
		}
		m.moments[figure] = of
		m.showAll(figure)
	}
	if w.Many {
		m.begin(ofAll, &w)
	} else {
		for id := range w.Sites {
			m.begin(id, &w)
		}
	}
	for _, kind := range w.Kinds {
		m.decisions.WithLabelValues(string(kind))
	}
	for _, channel := range w.Channels {
		for _, outcome := range []string{"accepted", "refused", "later"} {
			m.attempts.WithLabelValues(channel, outcome)
		}
	}
}

// begin makes the counters of a site.
func (m *Metrics) begin(site string, w *Watched) {
	for _, task := range w.Tasks {
		m.jobFailures.WithLabelValues(task, site)
	}
	for _, service := range w.Services {
		m.failures.WithLabelValues(site, service)
	}
}

// moment notes one of a site, unless that was taken out meanwhile.
func (m *Metrics) moment(figure, site string, at time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	of := m.moments[figure]
	if _, known := of.of(site); !known {
		return
	}
	of.set(site, at)
	if m.all.Load() {
		m.show(figure, ofAll, of.oldest())
		return
	}
	m.show(figure, site, at)
}

// issuedAt notes what other daemons on the same database got.
func (m *Metrics) issuedAt(moments map[string]time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	of := m.moments[ofForecast]
	for id, at := range moments {
		if known, there := of.of(id); there && at.After(known) {
			of.set(id, at)
		}
	}
	m.showAll(ofForecast)
}

// showAll shows each site's moment; of many the oldest, so that none that stands still
// is hidden by the others.
func (m *Metrics) showAll(figure string) {
	of := m.moments[figure]
	if of == nil || len(of.list) == 0 {
		return
	}
	if m.all.Load() {
		m.show(figure, ofAll, of.oldest())
		return
	}
	for i := range of.list {
		m.show(figure, of.list[i].site, of.list[i].at)
	}
}

func (m *Metrics) show(figure, site string, at time.Time) {
	if figure == ofForecast {
		m.issued.WithLabelValues(site).Set(float64(at.Unix()))
		return
	}
	m.jobSuccess.WithLabelValues(figure, site).Set(float64(at.Unix()))
}

func (m *Metrics) forget(site string) {
	for _, series := range []interface{ DeletePartialMatch(prometheus.Labels) int }{m.issued, m.probability, m.volume, m.failures,
		m.jobSuccess, m.jobFailures} {
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
		Registry: prometheus.NewRegistry(),
		issued: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_forecast_issued_timestamp_seconds",
			Help: "When the newest forecast of a site was issued, or the daemon started where there has been none; of many sites together, the oldest of these."}, site),
		probability: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_run_probability_ratio",
			Help: "Chance of a run, by days from today."}, []string{"site", "day"}),
		volume: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_sap_volume_liters",
			Help: "Sap to be expected on a day (percentile 10, 50 and 90), by days from today."}, []string{"site", "day", "percentile"}),
		failures: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_source_failures_total",
			Help: "How often a weather service gave nothing usable; from zero on for every service of the settings."},
			[]string{"site", "service"}),
		jobSuccess: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_job_last_success_timestamp_seconds",
			Help: "When a task last did its work, or the daemon started where it has not since; of many sites together, where that was longest ago."}, []string{"task", "site"}),
		jobFailures: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_job_failures_total",
			Help: "How often a task failed; from zero on for every task."}, []string{"task", "site"}),
		decisions: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_decisions_total",
			Help: "Decisions to tell people something, of all sites together."}, []string{"kind"}),
		stored: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_storage_fault",
			Help: "1 while the records can't be written, by why; tried once a minute, and at every request after it failed."},
			[]string{"fault"}),
		attempts: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_delivery_attempts_total",
			Help: "Attempts to deliver, by channel and outcome."}, []string{"channel", "outcome"}),
		deliveries: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_deliveries_total",
			Help: "Deliveries that came to an end, by state."}, []string{"state"}),
		lag: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "thawline_delivery_lag_seconds",
			Help: "From decision to acceptance by a channel.", Buckets: []float64{1, 5, 15, 60, 300, 900, 3600, 4 * 3600, 12 * 3600}}),
	}
	m.textsIn = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_texts_in_total",
		Help: "Texts that gateways brought, by what became of them: heard, unknown_sender, not_understood, failed."}, []string{"outcome"})
	for _, outcome := range []string{textHeard, textStranger, textUnread, textFailed} {
		m.textsIn.WithLabelValues(outcome)
	}
	m.Registry.MustRegister(m.textsIn)
	m.records = prometheus.NewCounterVec(prometheus.CounterOpts{Name: "thawline_records_total",
		Help: "Records that were sent in, by the way in and what became of them."}, []string{"way", "outcome"})
	for _, way := range intake.Ways() {
		for _, outcome := range intake.Outcomes() {
			m.records.WithLabelValues(string(way), string(outcome))
		}
	}
	build := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "thawline_build_info", Help: "Version of the program; always 1."},
		[]string{"version"})
	build.WithLabelValues(version).Set(1)
	for _, state := range []ledger.State{ledger.Sent, ledger.Expired, ledger.Failed} {
		m.deliveries.WithLabelValues(string(state))
	}
	m.Registry.MustRegister(build, m.issued, m.probability, m.volume, m.failures, m.jobSuccess, m.jobFailures, m.decisions, m.stored,
		m.attempts, m.deliveries, m.lag, m.records,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Outlook shows what is expected of the coming days.
func (m *Metrics) Outlook(o *forecast.Outlook) {
	m.moment(ofForecast, o.Site, o.Source.IssuedAt)
	if m.all.Load() {
		return
	}
	for i, d := range o.Days[:min(4, len(o.Days))] {
		day := string(rune('0' + i))
		m.probability.WithLabelValues(o.Site, day).Set(d.RunProbability)
		m.volume.WithLabelValues(o.Site, day, "10").Set(d.VolumeL.P10)
		m.volume.WithLabelValues(o.Site, day, "50").Set(d.VolumeL.P50)
		m.volume.WithLabelValues(o.Site, day, "90").Set(d.VolumeL.P90)
	}
}

// SourceFailed counts a weather service that gave nothing usable.
func (m *Metrics) SourceFailed(site, service string) {
	m.failures.WithLabelValues(m.site(site), service).Inc()
}

// JobFailed counts a task that failed.
func (m *Metrics) JobFailed(task, site string) {
	m.jobFailures.WithLabelValues(task, m.site(site)).Inc()
}

// JobDone notes that a task's work is done, by this daemon or another one.
func (m *Metrics) JobDone(task, site string, at time.Time) { m.moment(task, site, at) }

// Decided counts a decision to tell people something.
func (m *Metrics) Decided(kind alerts.Kind) {
	m.decisions.WithLabelValues(string(kind)).Inc()
}

// Attempted counts an attempt to deliver.
func (m *Metrics) Attempted(channel, outcome string) {
	m.attempts.WithLabelValues(channel, outcome).Inc()
}

// TextCame counts a text that came in.
func (m *Metrics) TextCame(outcome string) { m.textsIn.WithLabelValues(outcome).Inc() }

// Recorded counts a record that was sent in.
func (m *Metrics) Recorded(way, outcome string) { m.records.WithLabelValues(way, outcome).Inc() }

// Delivered counts a delivery that came to an end, and how long it took.
func (m *Metrics) Delivered(v *ledger.Delivery, now time.Time) {
	m.deliveries.WithLabelValues(string(v.State)).Inc()
	if v.State == ledger.Sent {
		m.lag.Observe(now.Sub(v.MadeAt).Seconds())
	}
}
