package auth

import (
	"context"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"regexp"
	"runtime/debug"
	"strings"
)

const (
	mostBody   = 1 << 20
	mostImport = 8 << 20
)

var (
	hostForm = regexp.MustCompile(`^[A-Za-z0-9._\-\[\]:]{1,255}$`)
	methods  = map[string]bool{"GET": true, "HEAD": true, "POST": true, "PUT": true, "DELETE": true, "PATCH": true, "OPTIONS": true}
)

// Middleware guards a handler: nothing reaches it that is too big, too fast, sent by
// another site's page, or not what it seems; and it knows who asks.
func (g *Service) Middleware(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if fault := recover(); fault != nil {
				if err, is := fault.(error); is && errors.Is(err, http.ErrAbortHandler) {
					panic(fault)
				}
				g.log.Error("a page broke", "path", r.URL.Path, "fault", fault, "stack", string(debug.Stack()))
				g.refuse(w, r, http.StatusInternalServerError, why{"fault_here", "something broke here"})
			}
		}()
		s := g.state.Load()
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cache-Control", "private, no-store") // unless whoever answers says otherwise
		if s.secure() {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		asked := s.belowBase(r)
		if status, because := g.refuses(s, r); status != 0 {
			g.refuse(w, asked, status, because)
			return
		}
		r = asked
		if !g.inTime(s, r) {
			h.Set("Retry-After", "5")
			g.refuse(w, r, http.StatusTooManyRequests, why{"fault_fast", "too many requests; wait a little"})
			return
		}
		most := int64(mostBody)
		if strings.HasSuffix(r.URL.Path, "/records/import") || strings.HasSuffix(r.URL.Path, "/members/import") {
			most = mostImport
		}
		if r.ContentLength > most {
			g.refuse(w, r, http.StatusRequestEntityTooLarge, why{"fault_too_big", "that is too big"})
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		if bearer, given := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); given {
			g.withToken(w, r, bearer, next)
			return
		}
		if !callBack(r.URL.Path) {
			if err := s.origins.Check(r); err != nil {
				g.refuse(w, r, http.StatusForbidden, why{"fault_other_site", "this came from another site's page"})
				return
			}
		}
		inner := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			v, err := g.identity(r, s)
			if err != nil {
				g.log.Error("who asks can't be found out", "error", err)
				g.refuse(w, r, http.StatusServiceUnavailable, notNow)
				return
			}
			next.ServeHTTP(w, r.WithContext(With(r.Context(), v)))
		})
		s.sessions.LoadAndSave(inner).ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), sessionKey{}, s.sessions)))
	})
}

// callBack is true of addresses that are their own key and carry no session's
// rights: gateways call them.
func callBack(path string) bool { return strings.HasPrefix(path, "/in/") }

// refuses looks for what no browser sends.
func (g *Service) refuses(s *state, r *http.Request) (status int, because why) {
	switch {
	case !methods[r.Method]:
		return http.StatusMethodNotAllowed, why{say: "no such method here"}
	case !hostForm.MatchString(r.Host):
		return http.StatusBadRequest, why{say: "the name of the host is not one"}
	case !cleanPath(r.URL.Path):
		return http.StatusBadRequest, why{say: "the path is not one"}
	}
	if !g.openTo(s, r) {
		return 0, why{}
	}
	// Without a login, a page of another name that leads here, or a proxy before
	// it, would hand the keeper's rights to strangers.
	if !loopback(r.Host) {
		return http.StatusMisdirectedRequest,
			why{"fault_only_here", "without a login these pages answer to localhost only; set serve.link to the address by which people reach them"}
	}
	if forwarded(r) {
		return http.StatusForbidden, why{"fault_only_here",
			"a proxy stands before these pages: set serve.link to the address by which people reach them"}
	}
	return 0, why{}
}

func forwarded(r *http.Request) bool {
	for name := range r.Header {
		if name == "Forwarded" || name == "Via" || strings.HasPrefix(name, "X-Forwarded") || name == "X-Real-Ip" {
			return true
		}
	}
	return false
}

// belowBase takes the base path off, whether or not a proxy has done so.
func (s *state) belowBase(r *http.Request) *http.Request {
	base := s.base()
	if base == "" || r.URL.Path != base && !strings.HasPrefix(r.URL.Path, base+"/") {
		return r
	}
	out := r.Clone(r.Context())
	out.URL.Path = strings.TrimPrefix(r.URL.Path, base)
	out.URL.RawPath = strings.TrimPrefix(r.URL.RawPath, base)
	if out.URL.Path == "" {
		out.URL.Path = "/"
	}
	return out
}

// client is the address that asks: behind a proxy of the settings, the last one
// that the proxies themselves did not add. It is named unless it may be that of a proxy,
// behind which everybody has the same one.
func (s *state) client(r *http.Request) (address string, named bool) {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	if !s.proxy(host) {
		return host, !loopback(host)
	}
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(hops) - 1; i >= 0; i-- {
		hop := strings.TrimSpace(hops[i])
		if _, err := netip.ParseAddr(hop); err != nil {
			break
		}
		if host = hop; !s.proxy(hop) {
			return host, true
		}
	}
	return host, false
}

func (s *state) proxy(host string) bool {
	a, err := netip.ParseAddr(host)
	if err != nil {
		return false
	}
	for _, p := range s.Proxies {
		if p.Contains(a.Unmap()) {
			return true
		}
	}
	return false
}

// FromHere reports whether a request comes from this machine itself and no proxy
// stands between.
func FromHere(r *http.Request) bool { return loopback(r.RemoteAddr) && !forwarded(r) }
