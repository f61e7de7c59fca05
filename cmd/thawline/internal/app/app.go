// Package app makes sites, services, channels and people of settings, and starts and
// stops the whole program.
package app

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"

	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/api"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/cmd/thawline/internal/intake"
	"thawline/cmd/thawline/internal/members"
	"thawline/cmd/thawline/internal/web"
	"thawline/config"
	"thawline/forecast/archive"
)

// Env is what the program is given from outside.
type Env struct {
	Version string
	Log     *slog.Logger
	Clock   func() time.Time // the moment that counts as now
	Frozen  bool             // the clock stands still, for a replay
}

// App is the daemon with all that is seen of it: pages, API, feeds, metrics.
type App struct {
	Archive *archive.Archive
	Daemon  *daemon.Daemon
	Auth    *auth.Service
	Pages   *web.Pages
	Desk    *members.Desk // nil where the database keeps nobody

	env      Env
	settings *config.Config // that are used
	base     *config.Config // those without anybody of the database
	baseMu   sync.Mutex
	members  int64                          // changes to members that the settings know of
	load     func() (*config.Config, error) // the settings anew
	tidied   time.Time
	now      func() time.Time      // by which it is decided what is due
	clock    *engine.DatabaseClock // nil for this machine's own
}

// New is the program on an archive, without settings yet. Whoever opened the archive closes it.
func New(env Env, a *archive.Archive) *App {
	l := ledger.New(a.DB())
	d := &daemon.Daemon{Archive: a, Ledger: l, Log: env.Log, Metrics: hooks.NewMetrics(env.Version), PlaceKey: PlaceKey}
	service := auth.New(a.DB(), l.Key, env.Log, time.Now)
	return &App{Archive: a, Daemon: d, Auth: service, env: env, now: env.Clock,
		Pages: &web.Pages{Version: env.Version, Outlooks: d, PlaceKey: PlaceKey, Records: a, Past: a, Taught: Taught(a),
			Intake: intake.Service{Archive: a, Counter: d.Metrics, PlaceKey: PlaceKey}, Messages: l, Auth: service,
			Office: office{d, l, a}, Log: env.Log, Now: env.Clock}}
}

// SetSettings takes settings for all that is seen; the daemon's own are given to it.
func (a *App) SetSettings(c *config.Config, catalogue *message.Catalogue) {
	w := web.Settings{Usual: Reader(c), Readers: map[string]message.Reader{}, Names: map[string]string{}, Catalogue: catalogue,
		PerDay: map[string]float64{}}
	for name, bound := range c.Weather.Bounds() {
		w.PerDay[name] = bound.PerDay
	}
	for i := range c.People {
		p := &c.People[i]
		w.Readers[p.ID], w.Names[p.ID] = p.Reader, p.Name
	}
	a.Auth.SetSettings(AuthSettings(c))
	a.Pages.SetSettings(w)
}

// Handler is everything behind the guards.
func (a *App) Handler() http.Handler {
	r, _ := a.routes()
	return a.Auth.Middleware(r)
}

// routes are all addresses of the program: outside are those that programs reach.
func (a *App) routes() (r *chi.Mux, outside *hooks.Routes) {
	r = chi.NewRouter()
	outside = (&hooks.Hooks{Daemon: a.Daemon, Address: a.Auth.Address, Ledger: a.Daemon.Ledger, Metrics: a.Daemon.Metrics,
		Log: a.env.Log}).Handler(a.env.Clock)
	for _, path := range []string{"/healthz", "/f/*", "/in/*", "/u/*", "/p/worker.js"} {
		r.Handle(path, outside)
	}
	r.Post("/p/{token}", outside.ServeHTTP)
	r.Handle("/readyz", a.insiders(outside, a.ready))
	r.Handle("/metrics", a.insiders(outside, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("WWW-Authenticate", "Bearer")
		http.Error(w, "figures are shown to this machine and to tokens with the scope "+string(auth.ReadMetrics), http.StatusUnauthorized)
	}))
	api.Register(r, api.Backend{Outlook: a.Daemon.Outlook, Sites: a.Daemon.Sites, Words: a.Pages.UsualWords, WordsIn: a.Pages.WordsIn,
		Records: a.Archive, Intake: a.Pages.Intake, Messages: a.Daemon.Ledger, Thresholds: a.Daemon.Thresholds, Now: a.env.Clock,
		Log: a.Daemon.Log, Desk: a.Desk})
	r.Group(a.Pages.Register)
	return r, outside
}

// SayCode tells whoever can read the log how the first keeper comes in.
func (a *App) SayCode(ctx context.Context) error {
	needed, err := a.Auth.SetUpNeeded(ctx)
	if err != nil || !needed {
		return err
	}
	code, err := a.Auth.SetUpCode(ctx)
	if err == nil {
		a.env.Log.Warn("nobody can log in yet: open the pages and give this set-up code", "code", code, "page", a.Auth.Address("/setup"))
	}
	return err
}

// tidy drops sessions and links that have ended, once a day.
func (a *App) tidy(ctx context.Context) {
	if now := time.Now(); now.Sub(a.tidied) > 24*time.Hour {
		a.tidied = now
		if err := a.Auth.Tidy(ctx, now); err != nil {
			a.Daemon.Log.Warn("what has ended was not tidied away", "error", err)
		}
	}
}

// Serve answers on a listener while work goes on, and ends when it does.
func (a *App) Serve(ctx context.Context, l net.Listener, work func(context.Context, <-chan error) error) error {
	a.Auth.Bound(l.Addr())
	handler := sync.OnceValue(a.Handler) // made for the first who asks: the first text needs none of it
	late := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { handler().ServeHTTP(w, r) })
	server := &http.Server{Handler: late, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: 60 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(withRoom(l)) }()
	err := work(ctx, failed)
	stopping, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	if stop := server.Shutdown(stopping); stop != nil && !errors.Is(stop, context.DeadlineExceeded) {
		err = errors.Join(err, stop)
	}
	return err
}

// insiders are shown everything: this machine, keepers, and tokens made for it.
func (a *App) insiders(everything http.Handler, others http.HandlerFunc) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		visitor := auth.From(r.Context())
		if visitor.Open || visitor.SeesAll() && visitor.Can(auth.ReadMetrics) || auth.FromHere(r) {
			everything.ServeHTTP(w, r)
			return
		}
		others(w, r)
	})
}

// ready says only whether, and not what is wrong.
func (a *App) ready(w http.ResponseWriter, r *http.Request) {
	if a.Daemon.Ready(r.Context(), a.env.Clock()) != "" {
		http.Error(w, "not ready", http.StatusServiceUnavailable)
		return
	}
	_, _ = w.Write([]byte("ok\n"))
}

// AuthSettings are what the settings say of who may come in.
func AuthSettings(c *config.Config) auth.Settings {
	s := auth.Settings{Listen: c.Serve.Listen, Link: c.Serve.Link, Proxies: c.Serve.Proxies, AlwaysLogin: c.Serve.AlwaysLogin,
		Provider: auth.Provider{Issuer: c.Login.Issuer, ClientID: c.Login.ClientID, Secret: c.Login.Secret,
			RolesClaim: c.Login.RolesClaim, PersonClaim: c.Login.PersonClaim}}
	for i := range c.People {
		p := &c.People[i]
		s.People = append(s.People, auth.Person{ID: p.ID, Name: p.Name, Role: auth.Role(p.Role), Sites: p.Sites})
	}
	return s
}
