package daemon

import (
	"fmt"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Handler serves what programs look at: metrics, health, feeds, and what comes
// back from gateways and browsers.
func (d *Daemon) Handler(now func() time.Time) http.Handler {
	mux := http.NewServeMux()
	figures := promhttp.HandlerFor(d.Metrics.Registry, promhttp.HandlerOpts{})
	mux.HandleFunc("GET /metrics", func(w http.ResponseWriter, r *http.Request) {
		d.Metrics.issuedAt(d.issued(r.Context()))
		figures.ServeHTTP(w, r)
	})
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		verdict(w, d.Alive(now()))
	})
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		verdict(w, d.Ready(r.Context(), now()))
		to := d.Recipients()
		_, _ = fmt.Fprintf(w, "messages reach %d of %d people\n", to.Reached, to.People)
	})
	d.feeds(mux, now)
	d.texts(mux, now)
	d.pushes(mux, now)
	return mux
}

func verdict(w http.ResponseWriter, what string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if what != "" {
		w.WriteHeader(http.StatusServiceUnavailable)
		_, _ = fmt.Fprintln(w, what)
		return
	}
	_, _ = fmt.Fprintln(w, "ok")
}
