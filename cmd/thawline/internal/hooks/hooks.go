// Package hooks is what programs outside reach the daemon by: feeds, texts that come in,
// subscriptions of browsers, health and metrics.
package hooks

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/alerts/voice"
	"thawline/forecast"
)

// Health is how the daemon does.
type Health interface {
	Alive(now time.Time) string                      // what is wrong, "" if nothing
	Ready(ctx context.Context, now time.Time) string // what is wrong, "" if nothing
	Reaches() (people, of int)                       // how many people of all get messages
	Issued(ctx context.Context) map[string]time.Time // when each site's newest forecast was issued
	StorageFault(ctx context.Context, now time.Time) StorageFault
}

// Addresses are the unguessable ones: who or what is behind them.
type Addresses interface {
	SiteBehind(ctx context.Context, what, token string) *forecast.Site // nil for nobody's
	PersonBehind(ctx context.Context, what, token string) string       // "" for nobody's
	WordsOf(person string) (*message.Words, error)
	GatewayBehind(ctx context.Context, token string) bool // that of the one address for texts
}

// News are what feeds tell.
type News interface {
	UsualCopy(copies []ledger.Delivery) (v *ledger.Delivery, language string)
	OfPulled(ctx context.Context, v *ledger.Delivery, now time.Time) bool // about a group whose taps are pulled
	// CalledOff reports whether what was decided is no longer so, and since when.
	CalledOff(ctx context.Context, decision *alerts.Decision, now time.Time) (time.Time, bool)
	Words(message.Reader) (*message.Words, error)
}

// Aloud is what is said of sites by a voice, and of all of them together.
type Aloud interface {
	Sites() []forecast.Site
	Outlook(ctx context.Context, site string) *forecast.Outlook
	Reader(language string) message.Reader // "" for the usual one
	Voice() voice.Options
}

// Texts are what people write back.
type Texts interface {
	// HearFrom deals with a text for a site, nil for whichever its writer is concerned
	// with. It reports false for a stranger's.
	HearFrom(ctx context.Context, site *forecast.Site, from, text, id string, now time.Time) (known bool, err error)
	// Shapes are those of call-backs that the settings add.
	Shapes() []Shape
}

// Hooks are what programs outside reach the daemon by.
type Hooks struct {
	Daemon interface {
		Health
		Addresses
		News
		Aloud
		Texts
	}
	// Address is where others find a path of ours, without a host where none is set; nil
	// for the path itself.
	Address func(path string) string
	Ledger  *ledger.Ledger
	Metrics *Metrics
	Log     *slog.Logger
}

// Handler serves what programs look at: metrics, health, feeds, and what comes
// back from gateways and browsers.
func (h *Hooks) Handler(now func() time.Time) *Routes {
	mux := &Routes{ServeMux: http.NewServeMux()}
	figures := promhttp.HandlerFor(h.Metrics.Registry, promhttp.HandlerOpts{})
	mux.HandleFunc("GET /metrics", func(w http.ResponseWriter, r *http.Request) {
		fault := h.Daemon.StorageFault(r.Context(), now())
		if h.Metrics.storage(fault); fault != Unreachable {
			h.Metrics.issuedAt(h.Daemon.Issued(r.Context()))
		}
		figures.ServeHTTP(w, r)
	})
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		verdict(w, h.Daemon.Alive(now()))
	})
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		verdict(w, h.Daemon.Ready(r.Context(), now()))
		reached, people := h.Daemon.Reaches()
		_, _ = fmt.Fprintf(w, "messages reach %d of %d people\n", reached, people)
	})
	h.feeds(mux, now)
	h.texts(mux, now)
	h.pushes(mux, now)
	h.stops(mux, now)
	return mux
}

// Routes serve addresses, and know them.
type Routes struct {
	*http.ServeMux
	Patterns []string // as they were registered: "GET /f/{token}/news.atom"
}

// HandleFunc registers a handler, as that of the mux.
func (r *Routes) HandleFunc(pattern string, handler func(http.ResponseWriter, *http.Request)) {
	r.Patterns = append(r.Patterns, pattern)
	r.ServeMux.HandleFunc(pattern, handler)
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
