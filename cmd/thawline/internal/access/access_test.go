package access

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

// bush is a gate with pages behind it, and a clock that the test turns.
type bush struct {
	*Gate
	server *httptest.Server
	mu     sync.Mutex
	at     time.Time
}

func (b *bush) clock() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.at
}

func (b *bush) pass(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.at = b.at.Add(d)
}

var people = []Person{{"wren", "Wren", Keeper, nil}, {"odell", "Odell", Crew, nil}, {"ida", "Ida", Viewer, []string{"hill"}}}

func opened(t *testing.T, s Settings) *bush {
	t.Helper()
	a, err := archive.Open(context.Background(), beside.Where(t, filepath.Join(t.TempDir(), "x.db")))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	b := &bush{at: time.Now()}
	b.Gate = New(a.DB(), func(context.Context) ([]byte, error) { return []byte("the key of this installation"), nil }, slog.New(slog.DiscardHandler), b.clock)
	if s.People == nil {
		s.People = people
	}
	b.Use(s)
	mux := http.NewServeMux()
	mux.Handle("GET /{$}", b.Need(Viewer, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		v := From(r.Context())
		fmt.Fprintf(w, "%s %s %s", v.Person, v.Role, v.Site)
	})))
	mux.Handle("POST /crew", b.Need(Crew, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := r.ParseForm(); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		fmt.Fprint(w, "done")
	})))
	mux.Handle("GET /keeper", b.Need(Keeper, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "kept") })))
	mux.HandleFunc("GET /broken", func(http.ResponseWriter, *http.Request) { panic("broken") })
	mux.HandleFunc("GET /api/who", func(w http.ResponseWriter, r *http.Request) {
		v := From(r.Context())
		fmt.Fprintf(w, "%s %v %t %t", v.Name, v.Role, v.Can(ReadRecords), v.Can(WriteRecords))
	})
	mux.HandleFunc("POST /login", func(w http.ResponseWriter, r *http.Request) {
		b.say(w, b.Login(r, r.PostFormValue("person"), r.PostFormValue("password")))
	})
	mux.HandleFunc("POST /setup", func(w http.ResponseWriter, r *http.Request) {
		b.say(w, b.SetUp(r, r.PostFormValue("code"), r.PostFormValue("person"), r.PostFormValue("password")))
	})
	mux.HandleFunc("POST /l/{link}", func(w http.ResponseWriter, r *http.Request) {
		_, _, err := b.EnterLink(r, r.PathValue("link"))
		b.say(w, err)
	})
	mux.HandleFunc("POST /password", func(w http.ResponseWriter, r *http.Request) {
		b.say(w, b.ChangePassword(r, r.PostFormValue("old"), r.PostFormValue("password")))
	})
	b.server = httptest.NewServer(b.Wrap(mux))
	t.Cleanup(b.server.Close)
	return b
}

func (b *bush) say(w http.ResponseWriter, err error) {
	var wait ErrWait
	switch {
	case errors.As(err, &wait):
		http.Error(w, err.Error(), http.StatusTooManyRequests)
	case err != nil:
		http.Error(w, err.Error(), http.StatusUnauthorized)
	}
}

// phone is a browser with cookies of its own.
type phone struct {
	t *testing.T
	b *bush
	c *http.Client
}

func (b *bush) phone(t *testing.T) *phone {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &phone{t, b, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (p *phone) ask(method, path string, form url.Values, change func(*http.Request)) (int, string, http.Header) {
	p.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(p.t.Context(), method, p.b.server.URL+path, body)
	if err != nil {
		p.t.Fatal(err)
	}
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if change != nil {
		change(r)
	}
	answer, err := p.c.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	said, err := io.ReadAll(answer.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return answer.StatusCode, strings.TrimSpace(string(said)), answer.Header
}

func (p *phone) must(want int, method, path string, form url.Values, change func(*http.Request)) string {
	p.t.Helper()
	status, said, _ := p.ask(method, path, form, change)
	if status != want {
		p.t.Errorf("%s %s: %d %q, not %d", method, path, status, said, want)
	}
	return said
}

func header(name, value string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set(name, value) }
}

const goodPassword = "three plain words"

// setUp makes Wren the first keeper, on a phone of hers.
func (b *bush) setUp(t *testing.T) *phone {
	t.Helper()
	code, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	p := b.phone(t)
	p.must(200, "POST", "/setup", url.Values{"code": {strings.ToLower(code)}, "person": {"wren"}, "password": {goodPassword}}, nil)
	return p
}

var elsewhere = Settings{Listen: "0.0.0.0:8787"}

func TestNoLoginOnThisMachineAlone(t *testing.T) {
	for _, c := range []struct {
		s    Settings
		open bool
	}{
		{Settings{Listen: "127.0.0.1:8787"}, true}, {Settings{Listen: "localhost:80"}, true}, {Settings{Listen: "[::1]:80"}, true},
		{Settings{Listen: ":8787"}, false}, {Settings{Listen: "0.0.0.0:8787"}, false}, {Settings{Listen: "192.168.1.4:80"}, false}, {Settings{Listen: "[::]:80"}, false},
		{Settings{Listen: "127.0.0.1:8787", Link: "https://bush.example.org"}, false}, {Settings{Listen: "127.0.0.1:8787", AlwaysLogin: true}, false},
	} {
		b := opened(t, c.s)
		status, said, _ := b.phone(t).ask("GET", "/keeper", nil, nil)
		if (status == 200) != c.open {
			t.Errorf("%+v: %d %s", c.s, status, said)
		}
	}
}

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

func TestSetUpOnceWithTheCode(t *testing.T) {
	b := opened(t, elsewhere)
	stranger := b.phone(t)
	if _, _, h := stranger.ask("GET", "/?x=1", nil, header("Accept", "text/html")); h.Get("Location") != "/login?to=%2F%3Fx%3D1" {
		t.Errorf("led to %q", h.Get("Location"))
	}
	form := func(code, person, password string) url.Values {
		return url.Values{"code": {code}, "person": {person}, "password": {password}}
	}
	stranger.must(401, "POST", "/setup", form("", "wren", goodPassword), nil) // no code was made
	old, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	code, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stranger.must(401, "POST", "/setup", form(old, "wren", goodPassword), nil)
	stranger.must(401, "POST", "/setup", form(code, "odell", goodPassword), nil) // no keeper
	stranger.must(401, "POST", "/setup", form(code, "wren", "short"), nil)
	b.pass(25 * time.Hour)
	stranger.must(401, "POST", "/setup", form(code, "wren", goodPassword), nil) // too old
	wren := b.setUp(t)
	if said := wren.must(200, "GET", "/", nil, nil); said != "wren keeper" {
		t.Error(said)
	}
	again, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stranger.must(401, "POST", "/setup", form(again, "wren", "another password"), nil) // it is done
}

func TestGuessingWaits(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	p := b.phone(t)
	try := func(person, password string) int {
		status, _, _ := p.ask("POST", "/login", url.Values{"person": {person}, "password": {password}}, nil)
		return status
	}
	for i := range freeTries {
		if s := try("wren", fmt.Sprint("guess number ", i)); s != 401 {
			t.Fatalf("try %d: %d", i, s)
		}
	}
	if s := try("wren", goodPassword); s != 429 {
		t.Errorf("the right word at once after wrong ones: %d", s)
	}
	b.pass(firstWait + time.Second)
	if s := try("wren", "another guess"); s != 401 {
		t.Errorf("after the wait: %d", s)
	}
	b.pass(firstWait + time.Second)
	if s := try("wren", goodPassword); s != 429 {
		t.Errorf("the wait does not grow: %d", s)
	}
	b.pass(firstWait + time.Second)
	if s := try("Wren", goodPassword); s != 200 {
		t.Errorf("the owner, after the wait: %d", s)
	}
	// From many addresses: slowed, but the owner is never kept out for long.
	now := b.clock()
	for i := range 2 * freeForPerson {
		b.waits.wrong("wren", fmt.Sprint("198.51.100.", i), now)
	}
	var wait ErrWait
	if err := b.waits.check("wren", "192.0.2.1", now); !errors.As(err, &wait) || wait.For > waitForPerson {
		t.Errorf("guessing from everywhere: %v", err)
	}
	if err := b.waits.check("odell", "192.0.2.1", now); err != nil {
		t.Errorf("somebody else waits too: %v", err)
	}
	for i := range 3 * mostKnown {
		b.waits.wrong(fmt.Sprint(i), "x", now)
	}
	if n := len(b.waits.known); n > 2*mostKnown {
		t.Errorf("%d names remembered", n)
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

func TestSessionIsRenewedAndEnds(t *testing.T) {
	b := opened(t, elsewhere)
	wren := b.setUp(t)
	at, err := url.Parse(b.server.URL)
	if err != nil {
		t.Fatal(err)
	}
	// A token that somebody planted is worth nothing after the login.
	victim := b.phone(t)
	victim.c.Jar.SetCookies(at, []*http.Cookie{{Name: "thawline", Value: "planted", Path: "/"}})
	victim.must(200, "POST", "/login", url.Values{"person": {"wren"}, "password": {goodPassword}}, nil)
	var kept *http.Cookie
	for _, c := range victim.c.Jar.Cookies(at) {
		if kept = c; c.Value == "planted" {
			t.Error("the planted token lives on")
		}
	}
	_, _, h := b.phone(t).ask("POST", "/login", url.Values{"person": {"wren"}, "password": {goodPassword}}, nil)
	if c := h.Get("Set-Cookie"); !strings.Contains(c, "HttpOnly") || !strings.Contains(c, "SameSite=Lax") {
		t.Error(c)
	}
	// The database holds no token that a thief could use.
	var n int
	if err := b.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM web_session WHERE token = ?1`, kept.Value).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d tokens in plain, %v", n, err)
	}
	// A new password ends the other sessions.
	wren.must(401, "POST", "/password", url.Values{"old": {"a wrong one!"}, "password": {"four quite plain words"}}, nil)
	b.pass(time.Minute)
	wren.must(200, "POST", "/password", url.Values{"old": {goodPassword}, "password": {"four quite plain words"}}, nil)
	wren.must(200, "GET", "/", nil, nil)
	victim.must(401, "GET", "/", nil, nil)
	b.pass(sessionLife + time.Hour)
	wren.must(401, "GET", "/", nil, nil)
	if err := b.Tidy(t.Context(), b.clock()); err != nil {
		t.Error(err)
	}
}

// What settings take away is gone at the next request.
func TestRoleOfTheSettingsCounts(t *testing.T) {
	b := opened(t, elsewhere)
	wren := b.setUp(t)
	wren.must(200, "GET", "/keeper", nil, nil)
	b.Use(Settings{Listen: elsewhere.Listen, People: []Person{{"wren", "Wren", Viewer, nil}}})
	wren.must(403, "GET", "/keeper", nil, nil)
	wren.must(200, "GET", "/", nil, nil)
	b.Use(Settings{Listen: elsewhere.Listen, People: []Person{{"odell", "Odell", Keeper, nil}}})
	wren.must(401, "GET", "/", nil, nil)
}

func TestCrewLink(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Site: "hill", Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	helper, second := b.phone(t), b.phone(t)
	for _, p := range []*phone{helper, second, helper} { // as often as they tap on it
		p.must(200, "POST", "/l/"+token, nil, nil)
		if said := p.must(200, "GET", "/", nil, nil); said != "crew hill" {
			t.Error(said)
		}
		p.must(403, "GET", "/keeper", nil, nil)
		p.must(200, "POST", "/crew", url.Values{}, nil)
	}
	links, err := b.Links(t.Context())
	if err != nil || len(links) != 1 {
		t.Fatal(links, err)
	}
	if err := b.Withdraw(t.Context(), links[0].ID); err != nil {
		t.Fatal(err)
	}
	helper.must(401, "GET", "/", nil, nil) // at once
	helper.must(401, "POST", "/l/"+token, nil, nil)
	if err := b.Withdraw(t.Context(), links[0].ID); !errors.Is(err, ErrNone) {
		t.Error(err)
	}

	some := Visitor{Role: Keeper, Sites: []string{"hill"}}
	if !some.Sees("hill") || some.Sees("far") || some.SeesAll() || !(Visitor{Role: Keeper}).SeesAll() || (Visitor{}).SeesAll() {
		t.Error("a keeper of one bush sees another")
	}
	token, err = b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "more", Role: Viewer, Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	second.must(200, "POST", "/l/"+token, nil, nil)
	second.must(403, "POST", "/crew", url.Values{}, nil)
	b.pass(73 * time.Hour)
	second.must(401, "GET", "/", nil, nil)
	second.must(401, "POST", "/l/"+token, nil, nil)

	for _, wrong := range []Link{{Kind: CrewLink, Name: "x", Role: Keeper, Days: 3}, {Kind: CrewLink, Role: Crew, Days: 3}, {Kind: CrewLink, Name: "x", Role: Crew, Days: 9999}, {Kind: PasswordLink, Person: "nobody", Days: 3}, {Kind: "other", Days: 3}} {
		if _, err := b.MakeLink(t.Context(), wrong, "Wren"); err == nil {
			t.Errorf("%+v was made", wrong)
		}
	}
}

// Every byte of a link counts, and only this installation can sign one.
func TestForgedLinks(t *testing.T) {
	b := opened(t, elsewhere)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Days: 1}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		t.Fatal(err)
	}
	for i := range raw {
		forged := bytes.Clone(raw)
		forged[i] ^= 1
		if _, err := b.opened(t.Context(), base64.RawURLEncoding.EncodeToString(forged)); !errors.Is(err, ErrLink) {
			t.Errorf("byte %d changed: %v", i, err)
		}
	}
	for _, nonsense := range []string{"", "x", token[:20], token + "AAAA", strings.Repeat("A", 43)} {
		if _, err := b.opened(t.Context(), nonsense); !errors.Is(err, ErrLink) {
			t.Errorf("%q: %v", nonsense, err)
		}
	}
	b.secret = func(context.Context) ([]byte, error) { return []byte("another installation"), nil }
	if _, err := b.opened(t.Context(), token); !errors.Is(err, ErrLink) {
		t.Errorf("another key: %v", err)
	}
	p := b.phone(t)
	for range freeTries {
		p.must(401, "POST", "/l/AAAA", nil, nil)
	}
	p.must(429, "POST", "/l/AAAA", nil, nil)
}

// An invitation works once, and a second phone that holds it is too late.
func TestInvitationWorksOnce(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: PasswordLink, Person: "odell", Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	odell, thief := b.phone(t), b.phone(t)
	odell.must(200, "POST", "/l/"+token, nil, nil)
	thief.must(200, "POST", "/l/"+token, nil, nil)
	odell.must(401, "GET", "/", nil, nil) // not before a password is chosen
	odell.must(401, "POST", "/password", url.Values{"password": {"short"}}, nil)
	odell.must(200, "POST", "/password", url.Values{"password": {"odell's own words"}}, nil)
	if said := odell.must(200, "GET", "/", nil, nil); said != "odell crew" {
		t.Error(said)
	}
	thief.must(401, "POST", "/password", url.Values{"password": {"the thief's words"}}, nil)
	thief.must(401, "POST", "/l/"+token, nil, nil)
	again := b.phone(t)
	again.must(200, "POST", "/login", url.Values{"person": {"odell"}, "password": {"odell's own words"}}, nil)
}

func TestTokens(t *testing.T) {
	b := opened(t, elsewhere)
	text, err := b.MakeToken(t.Context(), Token{Name: "station", Scopes: []Scope{ReadRecords}, Days: 10}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	p := b.phone(t)
	bearer := header("Authorization", "Bearer "+text)
	if said := p.must(200, "GET", "/api/who", nil, bearer); said != "station viewer true false" {
		t.Error(said)
	}
	p.must(403, "GET", "/", nil, bearer) // pages are for people
	p.must(401, "GET", "/api/who", nil, header("Authorization", "Bearer thawline_wrong"))
	var n int
	if err := b.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM access_token WHERE hash = ?1`, text).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d tokens in plain, %v", n, err)
	}
	b.pass(11 * 24 * time.Hour)
	p.must(401, "GET", "/api/who", nil, bearer)
	for _, wrong := range []Token{{Name: "x", Days: 10}, {Scopes: []Scope{ReadRecords}, Days: 10}, {Name: "x", Scopes: []Scope{"everything"}, Days: 10}, {Name: "x", Scopes: []Scope{ReadRecords}}} {
		if _, err := b.MakeToken(t.Context(), wrong, "Wren"); err == nil {
			t.Errorf("%+v was made", wrong)
		}
	}
	// On this machine alone, a token has its own rights and no more.
	here := opened(t, Settings{Listen: "127.0.0.1:1"})
	if text, err = here.MakeToken(t.Context(), Token{Name: "station", Scopes: []Scope{ReadOutlook}, Days: 10}, "Wren"); err != nil {
		t.Fatal(err)
	}
	if said := here.phone(t).must(200, "GET", "/api/who", nil, header("Authorization", "Bearer "+text)); said != "station viewer false false" {
		t.Error(said)
	}
}

// A form on another site's page is sent with the victim's cookies by browsers
// that know no SameSite; the gate sees where it came from.
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
	status, _, _ := b.phone(t).ask("POST", "/login", url.Values{"person": {"wren"}, "password": {goodPassword}}, header("Origin", "https://bush.example.org"))
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
	for to, want := range map[string]string{"/site/a?x=1": "/site/a?x=1", "//evil.example": "/", "/\\evil.example": "/", "https://evil.example": "/", "javascript:alert(1)": "/", "": "/", "site": "/", "/a\r\nb": "/", "/%2f%2fevil": "/", "/../x": "/"} {
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
	p.must(400, "POST", "/crew", huge, func(r *http.Request) { r.ContentLength = -1; r.Body = io.NopCloser(strings.NewReader(huge.Encode())) }) // without saying how long it is
	p.must(405, "TRACE", "/", nil, nil)
	p.must(400, "GET", "/", nil, func(r *http.Request) { r.Host = "a b" })
	p.must(500, "GET", "/broken", nil, nil)
	_, _, h := p.ask("GET", "/", nil, nil)
	for _, name := range []string{"X-Content-Type-Options", "Referrer-Policy", "Cross-Origin-Opener-Policy", "X-Frame-Options"} {
		if h.Get(name) == "" {
			t.Errorf("no %s", name)
		}
	}
	limited := false
	for range burst + 20 {
		if status, _, h := p.ask("GET", "/keeper", nil, nil); status == 429 {
			limited = h.Get("Retry-After") != ""
		}
	}
	if !limited {
		t.Error("nobody is slowed down")
	}
	b.pass(10 * time.Second)
	p.must(200, "GET", "/keeper", nil, nil)
	for i := range mostKnown + 10 {
		b.rates.allow(fmt.Sprint(i), b.clock())
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
		{"127.0.0.1:9", "203.0.113.7", "203.0.113.7"}, {"127.0.0.1:9", "6.6.6.6, 203.0.113.7, 10.1.2.3", "203.0.113.7"}, {"127.0.0.1:9", "", "127.0.0.1"},
		{"198.51.100.1:9", "203.0.113.7", "198.51.100.1"}, {"127.0.0.1:9", "6.6.6.6, nonsense", "127.0.0.1"}, {"[::1]:9", "203.0.113.7", "::1"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.peer
		if c.forwarded != "" {
			r.Header.Set("X-Forwarded-For", c.forwarded)
		}
		if got := s.client(r); got != c.want {
			t.Errorf("%+v: %s", c, got)
		}
	}
}

func TestManyPhonesAtOnce(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			p := b.phone(t)
			p.must(200, "POST", "/l/"+token, nil, nil)
			p.must(200, "GET", "/", nil, nil)
			b.Use(Settings{Listen: elsewhere.Listen, People: people}) // settings are reloaded meanwhile
			p.must(200, "GET", "/", nil, nil)
		})
	}
	wg.Wait()
}

func TestOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){
		"set-up": TestSetUpOnceWithTheCode, "sessions": TestSessionIsRenewedAndEnds, "roles": TestRoleOfTheSettingsCounts, "crew links": TestCrewLink,
		"invitations": TestInvitationWorksOnce, "tokens": TestTokens, "many phones": TestManyPhonesAtOnce,
	})
}
