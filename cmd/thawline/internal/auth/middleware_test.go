package auth

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
)

// A page of another name that leads to this machine, or a proxy before it, must
// not hand out the keeper's rights.
func TestOpenPagesAnswerToThisMachineOnly(t *testing.T) {
	p := opened(t, Settings{Listen: "127.0.0.1:8787"}).phone(t)
	p.must(421, "GET", "/", nil, func(r *http.Request) { r.Host = "evil.example" })
	p.must(421, "GET", "/", nil, func(r *http.Request) { r.Host = "127.0.0.1.evil.example:8787" })
	for _, name := range []string{"X-Forwarded-For", "X-Forwarded-Host", "Forwarded", "Via", "X-Real-IP"} {
		p.must(403, "GET", "/", nil, header(name, "203.0.113.9"))
	}
	p.must(200, "GET", "/", nil, func(r *http.Request) { r.Host = "localhost:8787" })
}

// Settings that are read again do not move the socket: while others can reach it, or
// ask, what the settings say about the address opens nothing.
func TestOpenGoesByTheSocketAndByWhoAsks(t *testing.T) {
	for _, c := range []struct {
		bound, peer string
		want        int
	}{
		{"127.0.0.1:8787", "127.0.0.1:50000", 200}, {"[::1]:8787", "[::1]:50000", 200},
		{"0.0.0.0:8787", "192.168.1.50:50000", 401}, {"[::]:8787", "[fe80::1]:50000", 401}, {"192.168.1.4:8787", "192.168.1.50:50000", 401},
		{"0.0.0.0:8787", "127.0.0.1:50000", 401}, // a tunnel or proxy on this machine, maybe
		{"127.0.0.1:8787", "192.168.1.50:50000", 401},
		{"127.0.0.1:8787", "", 401}, {"127.0.0.1:8787", "@", 401},
	} {
		b := opened(t, Settings{Listen: "0.0.0.0:8787"})
		to, err := net.ResolveTCPAddr("tcp", c.bound)
		if err != nil {
			t.Fatal(err)
		}
		b.Bound(to)
		b.SetSettings(Settings{Listen: "127.0.0.1:8787", People: people})
		for _, path := range []string{"/", "/keeper"} {
			r := httptest.NewRequest("GET", "http://localhost:8787"+path, nil)
			r.RemoteAddr = c.peer
			w := httptest.NewRecorder()
			b.server.Config.Handler.ServeHTTP(w, r)
			if w.Code != c.want {
				t.Errorf("%s from %q, listening on %s: got %d, want %d", path, c.peer, c.bound, w.Code, c.want)
			}
		}
	}
}

// Whether there is an account must not be told: neither by words nor by leaving
// the work out.
func TestNobodyAndSomebodySoundAlike(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	p := b.phone(t)
	var said []string
	for _, person := range []string{"wren", "odell", "nobody"} {
		said = append(said, p.must(401, "POST", "/login", url.Values{"person": {person}, "password": {"a wrong password"}}, nil))
	}
	if said[0] != said[1] || said[1] != said[2] {
		t.Errorf("%q", said)
	}
}

// A form on another site's page is sent with the victim's cookies by browsers
// that know no SameSite; the service sees where it came from.
func TestAnotherSitesForm(t *testing.T) {
	b := opened(t, Settings{Listen: "0.0.0.0:1", Link: "https://bush.example.org/sap"})
	wren := b.setUp(t)
	jar := wren.c.Jar
	at, _ := url.Parse(b.server.URL)
	for _, c := range jar.Cookies(at) {
		t.Logf("cookie %s", c)
	}
	open := opened(t, Settings{Listen: "127.0.0.1:1"}).phone(t)
	for name, value := range map[string]string{"Origin": "https://evil.example", "Sec-Fetch-Site": "cross-site"} {
		open.must(403, "POST", "/crew", url.Values{}, header(name, value))
	}
	open.must(403, "POST", "/crew", url.Values{}, header("Origin", "null"))
	open.must(200, "POST", "/crew", url.Values{}, header("Origin", open.b.server.URL))
	// Behind a proxy that changes the host, the link's origin is the pages' own.
	status, _, _ := b.phone(t).ask("POST", "/login", url.Values{"person": {"wren"}, "password": {goodPassword}},
		header("Origin", "https://bush.example.org"))
	if status != 200 {
		t.Errorf("the pages' own origin: %d", status)
	}
}

func TestBasePathAndTricks(t *testing.T) {
	b := opened(t, Settings{Listen: "127.0.0.1:1", Link: "http://bush.example.org/sap"})
	p := b.phone(t)
	if b.Base() != "/sap" || b.Address("/l/x") != "http://bush.example.org/sap/l/x" {
		t.Errorf("%q %q", b.Base(), b.Address("/l/x"))
	}
	for _, path := range []string{"/api/who", "/sap/api/who"} { // whether or not the proxy takes it off
		p.must(200, "GET", path, nil, nil)
	}
	if _, _, h := p.ask("GET", "/sap/", nil, header("Accept", "text/html")); h.Get("Location") != "/sap/login?to=%2F" {
		t.Errorf("led to %q", h.Get("Location"))
	}
	for _, path := range []string{"//evil.example", "/\\evil.example", "/%2e%2e/etc", "/..%2fetc", "/a//b", "/%0d%0aSet-Cookie:x"} {
		p.must(400, "GET", path, nil, nil)
	}
	p.must(404, "GET", "/sapling", nil, nil)
	for to, want := range map[string]string{"/site/a?x=1": "/site/a?x=1", "//evil.example": "/", "/\\evil.example": "/",
		"https://evil.example": "/", "javascript:alert(1)": "/", "": "/", "site": "/", "/a\r\nb": "/", "/%2f%2fevil": "/", "/../x": "/"} {
		if got := LocalPath(to); got != want {
			t.Errorf("%q leads to %q, not %q", to, got, want)
		}
	}
}

func TestHugeFastAndOdd(t *testing.T) {
	b := opened(t, Settings{Listen: "127.0.0.1:1"})
	p := b.phone(t)
	huge := url.Values{"note": {strings.Repeat("x", mostBody)}}
	p.must(413, "POST", "/crew", huge, nil)
	p.must(400, "POST", "/crew", huge, func(
		r *http.Request) {
		r.ContentLength = -1
		r.Body = io.NopCloser(strings.NewReader(huge.Encode()))
	}) // without saying how long it is
	p.must(405, "TRACE", "/", nil, nil)
	p.must(400, "GET", "/", nil, func(r *http.Request) { r.Host = "a b" })
	p.must(500, "GET", "/broken", nil, nil)
	_, _, h := p.ask("GET", "/", nil, nil)
	for _, name := range []string{"X-Content-Type-Options", "Referrer-Policy", "Cross-Origin-Opener-Policy", "X-Frame-Options"} {
		if h.Get(name) == "" {
			t.Errorf("no %s", name)
		}
	}
	// Who is behind a proxy that names nobody is held back, not refused; others are told
	// to wait.
	began := b.clock()
	for range burst + 20 {
		p.must(200, "GET", "/keeper", nil, nil)
	}
	if b.clock().Equal(began) {
		t.Error("nobody is slowed down")
	}
	limited := false
	for range burst + 20 {
		r := httptest.NewRequest("GET", "http://localhost:8787/login", nil)
		r.RemoteAddr = "192.0.2.7:1"
		w := httptest.NewRecorder()
		b.server.Config.Handler.ServeHTTP(w, r)
		if w.Code == 429 {
			limited = w.Header().Get("Retry-After") != ""
		}
	}
	if !limited {
		t.Error("nobody is told to wait")
	}
	for i := range mostKnown + 10 {
		b.rates.reserve(fmt.Sprint(i), perSecond, burst, 0, b.clock())
	}
	if n := len(b.rates.known); n > mostKnown {
		t.Errorf("%d addresses remembered", n)
	}
}

// Only a proxy of the settings is believed about where a request comes from, and
// of what it says only what it added itself.
func TestWhoAsksBehindProxies(t *testing.T) {
	s := &state{Settings: Settings{Proxies: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("10.0.0.0/8")}}}
	for _, c := range []struct{ peer, forwarded, want string }{
		{"127.0.0.1:9", "203.0.113.7", "203.0.113.7"}, {"127.0.0.1:9", "6.6.6.6, 203.0.113.7, 10.1.2.3", "203.0.113.7"},
		{"127.0.0.1:9", "", "127.0.0.1"},
		{"198.51.100.1:9", "203.0.113.7", "198.51.100.1"}, {"127.0.0.1:9", "6.6.6.6, nonsense", "127.0.0.1"},
		{"[::1]:9", "203.0.113.7", "::1"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.peer
		if c.forwarded != "" {
			r.Header.Set("X-Forwarded-For", c.forwarded)
		}
		if got, _ := s.client(r); got != c.want {
			t.Errorf("%+v: %s", c, got)
		}
	}
}
