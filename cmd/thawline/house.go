package main

import (
	"context"
	"errors"
	"net"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/access"
	"thawline/cmd/thawline/internal/api"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/web"
	"thawline/config"
	"thawline/forecast/archive"
)

// house is the daemon with all that is seen of it: pages, API, feeds, metrics.
type house struct {
	archive *archive.Archive
	daemon  *daemon.Daemon
	gate    *access.Gate
	pages   *web.Pages
	now     func() time.Time
	tidied  time.Time
}

func newHouse(g *globals, a *archive.Archive, now func() time.Time) *house {
	l := ledger.New(a.DB())
	d := &daemon.Daemon{Archive: a, Ledger: l, Log: g.log, Metrics: daemon.NewMetrics(version), PlaceKey: placeKey}
	gate := access.New(a.DB(), l.Key, g.log, time.Now)
	return &house{archive: a, daemon: d, gate: gate, now: now,
		pages: &web.Pages{Daemon: d, Archive: a, Ledger: l, Gate: gate, Log: g.log, Now: now}}
}

// use takes settings for all that is seen; the daemon's own are given to it.
func (h *house) use(c *config.Config, catalogue *message.Catalogue) {
	w := web.Settings{Usual: reader(c), Readers: map[string]message.Reader{}, Names: map[string]string{}, Catalogue: catalogue}
	for i := range c.People {
		p := &c.People[i]
		w.Readers[p.ID], w.Names[p.ID] = p.Reader, p.Name
	}
	h.gate.Use(accessSettings(c))
	h.pages.Use(w)
}

// handler is everything behind the guards.
func (h *house) handler() http.Handler {
	r := chi.NewRouter()
	outside := h.daemon.Handler(h.now)
	for _, path := range []string{"/healthz", "/f/*", "/in/*", "/p/worker.js"} {
		r.Handle(path, outside)
	}
	r.Post("/p/{token}", outside.ServeHTTP)
	r.Handle("/readyz", h.insiders(outside, h.ready))
	r.Handle("/metrics", h.insiders(outside, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("WWW-Authenticate", "Bearer")
		http.Error(w, "figures are shown to this machine and to tokens with the scope "+string(access.ReadMetrics), http.StatusUnauthorized)
	}))
	api.Register(r, api.Backend{Outlook: h.daemon.Outlook, Sites: h.daemon.Sites, Words: h.pages.UsualWords, Archive: h.archive, Ledger: h.daemon.Ledger, Now: h.now, Log: h.daemon.Log})
	r.Group(h.pages.Register)
	return h.gate.Wrap(r)
}

// sayCode tells whoever can read the log how the first keeper comes in.
func (h *house) sayCode(ctx context.Context, g *globals) error {
	needed, err := h.gate.SetUpNeeded(ctx)
	if err != nil || !needed {
		return err
	}
	code, err := h.gate.SetUpCode(ctx)
	if err == nil {
		g.log.Warn("nobody can log in yet: open the pages and give this set-up code", "code", code, "page", h.gate.Address("/setup"))
	}
	return err
}

// tidy drops sessions and links that have ended, once a day.
func (h *house) tidy(ctx context.Context) {
	if now := time.Now(); now.Sub(h.tidied) > 24*time.Hour {
		h.tidied = now
		if err := h.gate.Tidy(ctx, now); err != nil {
			h.daemon.Log.Warn("what has ended was not tidied away", "error", err)
		}
	}
}

// serve answers on a listener while work goes on, and ends when it does.
func (h *house) serve(ctx context.Context, l net.Listener, work func(context.Context, <-chan error) error) error {
	h.gate.Bound(l.Addr())
	server := &http.Server{Handler: h.handler(), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second, WriteTimeout: 60 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	err := work(ctx, failed)
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if stop := server.Shutdown(stopping); stop != nil && !errors.Is(stop, context.DeadlineExceeded) {
		err = errors.Join(err, stop)
	}
	return err
}

// insiders are shown everything: this machine, keepers, and tokens made for it.
func (h *house) insiders(everything http.Handler, others http.HandlerFunc) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		visitor := access.From(r.Context())
		if visitor.Open || visitor.SeesAll() && visitor.Can(access.ReadMetrics) || access.FromHere(r) {
			everything.ServeHTTP(w, r)
			return
		}
		others(w, r)
	})
}

// ready says only whether, and not what is wrong.
func (h *house) ready(w http.ResponseWriter, r *http.Request) {
	if h.daemon.Ready(r.Context(), h.now()) != "" {
		http.Error(w, "not ready", http.StatusServiceUnavailable)
		return
	}
	_, _ = w.Write([]byte("ok\n"))
}
