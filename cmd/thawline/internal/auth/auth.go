package auth

import (
	"context"
	"database/sql"
	"encoding/gob"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync/atomic"
	"time"

	"github.com/alexedwards/scs/v2"
)

// Service stands before everything that is served. It may be used by several
// goroutines.
type Service struct {
	db     *sql.DB
	secret func(context.Context) ([]byte, error)
	log    *slog.Logger
	now    func() time.Time
	pause  func(context.Context, time.Duration) error // holds a request back

	// Faults shows why somebody was not let in as a page, by the key of its words; it is
	// set before the first request. Without it, and for programs, it is said plainly.
	Faults func(w http.ResponseWriter, r *http.Request, status int, key string)

	bound string // the address that is really listened on, "" where nothing is

	state    atomic.Pointer[state]
	rates    rates
	throttle throttle
	provider provider
}

// state is what the service goes by, replaced as a whole.
type state struct {
	Settings
	sessions *scs.SessionManager
	origins  *http.CrossOriginProtection
}

// New is the service on a database that has the tables. secret gives the key of
// this installation, with which links are signed.
func New(db *sql.DB, secret func(context.Context) ([]byte, error), log *slog.Logger, now func() time.Time) *Service {
	g := &Service{db: db, secret: secret, log: log, now: now, pause: pause}
	g.SetSettings(Settings{})
	return g
}

func pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-time.After(d):
		return nil
	}
}

// sessionLife is how long somebody stays logged in on a phone: a season.
const sessionLife = 90 * 24 * time.Hour

// SetSettings takes settings.
func (g *Service) SetSettings(s Settings) {
	sessions := scs.New()
	sessions.Store = &sessionStore{g.db, g.now}
	sessions.HashTokenInStore = true
	sessions.Lifetime = sessionLife
	sessions.Cookie = scs.SessionCookie{Name: "thawline", HttpOnly: true, Persist: true, SameSite: http.SameSiteLaxMode,
		Secure: s.secure(), Path: s.base() + "/"}
	sessions.ErrorFunc = func(w http.ResponseWriter, r *http.Request, err error) {
		g.log.Error("a session can't be read or kept", "error", err)
		g.refuse(w, r, http.StatusServiceUnavailable, notNow)
	}
	origins := http.NewCrossOriginProtection()
	if o := s.origin(); o != "" {
		if err := origins.AddTrustedOrigin(o); err != nil {
			g.log.Error("the link of the settings is no origin", "error", err)
		}
	}
	g.state.Store(&state{s, sessions, origins})
}

// Bound says which address the pages are really listened on, before the first
// request: what settings say of it later changes no socket.
func (g *Service) Bound(to net.Addr) { g.bound = to.String() }

// open reports whether nobody has to log in: neither the settings nor the socket
// let anybody but this machine in.
func (g *Service) open(s *state) bool {
	return !s.NeedsLogin() && (g.bound == "" || loopback(g.bound))
}

// openTo reports whether who asks need not log in.
func (g *Service) openTo(s *state, r *http.Request) bool { return g.open(s) && loopback(r.RemoteAddr) }

func init() { gob.Register(time.Time{}) }

// Base is the path below which pages stand, "" for none.
func (g *Service) Base() string { return g.state.Load().base() }

// Address is how a path is reached from outside; the path alone, below the base,
// where no link is set.
func (g *Service) Address(path string) string {
	s := g.state.Load()
	if s.Link == "" {
		return path
	}
	return strings.TrimRight(s.Link, "/") + path
}

// People are the people of the settings.
func (g *Service) People() []Person { return g.state.Load().People }

type sessionKey struct{}

// sessionsOf are the sessions that a request was loaded with, should settings
// have changed since.
func (g *Service) sessionsOf(r *http.Request) *scs.SessionManager {
	if s, ok := r.Context().Value(sessionKey{}).(*scs.SessionManager); ok {
		return s
	}
	return g.state.Load().sessions
}

// RequireRole lets in who has a role. Others are asked to log in, or told that they may
// not.
func (g *Service) RequireRole(role Role, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v := From(r.Context())
		switch {
		case v.Scopes != nil:
			g.refuseToken(w, r)
		case v.Role != Nobody && v.Role.May(role):
			next.ServeHTTP(w, r)
		case v.Role != Nobody:
			g.refuse(w, r, http.StatusForbidden, why{"fault_role_" + string(role), "this is for the role " + string(role)})
		case r.Method == http.MethodGet && wantsPage(r):
			http.Redirect(w, r, g.Base()+"/login?to="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		default:
			g.refuse(w, r, http.StatusUnauthorized, why{"fault_log_in", "log in first"})
		}
	})
}

// NotByToken keeps tokens, which have no session, from pages that anybody may see.
func (g *Service) NotByToken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if From(r.Context()).Scopes != nil {
			g.refuseToken(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// refuseToken says that a token is for the API alone.
func (g *Service) refuseToken(w http.ResponseWriter, r *http.Request) {
	g.refuse(w, r, http.StatusForbidden, why{say: "tokens are for " + g.Base() + "/api/v1"})
}

// LocalPath is a path and query of this address, "/" for anything that could
// lead elsewhere.
func LocalPath(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(u.Path, "/") || !cleanPath(u.Path) ||
		strings.ContainsAny(to, "\\\r\n\t") {
		return "/"
	}
	return u.RequestURI()
}

// cleanPath reports whether a path is what it seems: none that proxies and
// browsers read in different ways.
func cleanPath(path string) bool {
	if strings.Contains(path, "//") || strings.Contains(path, "\\") {
		return false
	}
	for _, c := range path {
		if c < ' ' || c == 0x7f {
			return false
		}
	}
	for part := range strings.SplitSeq(path, "/") {
		if part == ".." || part == "." {
			return false
		}
	}
	return true
}
