package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"

	"thawline/cmd/thawline/internal/auth"
	"thawline/config"
)

// Who is not let in is told on a page, in the reader's language, and what to do; programs
// get a problem.
func TestNotLetInInWords(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	link, err := p.h.Auth.MakeLink(t.Context(), auth.Link{Kind: auth.CrewLink, Name: "Ida", Role: auth.Crew, Days: 1}, "test")
	if err != nil {
		t.Fatal(err)
	}
	cookie, _, _ := strings.Cut(p.ask("POST", "/l/"+link, url.Values{}).Header().Get("Set-Cookie"), ";")
	for _, c := range []struct {
		status             int
		method, path, says string
		headers            []string
	}{
		{403, "GET", "/people", "C&#39;est pour les responsables", []string{"Cookie", cookie}},
		{401, "POST", "/site/kettle/entries", `href="/login"`, nil},
		{403, "POST", "/site/kettle/entries", "une autre adresse",
			[]string{"Cookie", cookie, "Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site"}},
	} {
		s := p.must(c.status, c.method, c.path, url.Values{}, append(c.headers, "Accept-Language", "fr")...)
		if !strings.Contains(s, c.says) || !strings.Contains(s, `<html lang="fr" dir="ltr">`) {
			t.Errorf("%s: no %q in %s", c.path, c.says, s)
		}
	}
	for _, token := range []string{"", "Bearer thawline_none"} {
		var headers []string
		if token != "" {
			headers = []string{"Authorization", token}
		}
		w := p.ask("GET", "/api/v1/sites", nil, headers...)
		if w.Code != 401 || w.Header().Get("Content-Type") != "application/problem+json" ||
			!strings.Contains(w.Body.String(), `"status":401`) {
			t.Errorf("%q: %d %v %s", token, w.Code, w.Header(), w.Body)
		}
	}
}

// What an address says that came of a form is one of a few things.
func TestNoticesAreKnown(t *testing.T) {
	p := demoPages(t, nil)
	for key, shown := range map[string]bool{"done_corrected": true, "done_seen": true, "done_entered": false, "done_nonsense": false,
		"done_": false, "nav_rounds": false} {
		if s := p.must(200, "GET", "/site/kettle?done="+key, nil); strings.Contains(s, `class="notice"`) != shown {
			t.Errorf("%s: %.2000s", key, s)
		}
	}
}

// No role sees more than it should, and numbers are nobody's to see.
func TestPagesByRole(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	as := map[auth.Role]string{}
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		token, err := p.h.Auth.MakeLink(t.Context(),
			auth.Link{Kind: auth.CrewLink, Name: string(role), Role: role, Site: "kettle", Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		w := p.ask("POST", "/l/"+token, url.Values{})
		cookie, _, _ := strings.Cut(w.Header().Get("Set-Cookie"), ";")
		as[role] = cookie
	}
	entry := func(key string) url.Values {
		return url.Values{"key": {key}, "group": {"ridge"}, "volume": {"3"}}
	}
	for _, c := range []struct {
		method, path         string
		form                 url.Values
		nobody, viewer, crew int
	}{
		{"GET", "/site/kettle", nil, 303, 200, 200}, {"GET", "/site/kettle/rounds", nil, 303, 200, 200},
		{"GET", "/site/kettle/records.csv", nil, 303, 200, 200},
		{"GET", "/status", nil, 303, 200, 200}, {"GET", "/people", nil, 303, 403, 403},
		{"POST", "/people", url.Values{"do": {"token"}}, 401, 403, 403},
		{"POST", "/site/kettle/entries", entry("role-0001"), 401, 403, 303},
		{"POST", "/site/kettle/records/x", url.Values{"do": {"remove"}}, 401, 403, 403},
		{"POST", "/site/kettle/records/import", url.Values{}, 401, 403, 403},
		{"POST", "/site/kettle/seen", url.Values{"message": {"x"}}, 401, 403, 404},
		{"GET", "/site/other", nil, 303, 404, 404}, {"GET", "/metrics", nil, 401, 401, 401}, {"GET", "/login", nil, 303, 303, 303},
		{"GET", "/healthz", nil, 200, 200, 200},
		{"GET", "/none", nil, 303, 404, 404}, {"GET", "/style.css", nil, 200, 200, 200}, {"GET", "/worker.js", nil, 200, 200, 200},
	} {
		for role, want := range map[auth.Role]int{auth.Nobody: c.nobody, auth.Viewer: c.viewer, auth.Crew: c.crew} {
			w := p.ask(c.method, c.path, c.form, "Cookie", as[role])
			if w.Code != want {
				t.Errorf("%s %s as %q: %d, not %d", c.method, c.path, role, w.Code, want)
			}
		}
	}
	for _, at := range pathsOf(slices.DeleteFunc(slices.Clone(sitePages),
		func(at string) bool { return at == "/messages" })) { // those are crew's
		if s := p.must(200, "GET", at, nil, "Cookie", as[auth.Viewer]); strings.Contains(s, "Odell") ||
			strings.Contains(s, "<button>Save") {
			t.Errorf("%s shows a viewer who wrote, or lets them write", at)
		}
	}
}

// Behind a proxy that serves them below a path, every address on the pages stays
// below it.
func TestBelowABasePath(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.Link = "https://bush.example.org/sap" })
	token, err := p.h.Auth.MakeLink(t.Context(), auth.Link{Kind: auth.CrewLink, Name: "x", Role: auth.Crew, Days: 1}, "test")
	if err != nil {
		t.Fatal(err)
	}
	w := p.ask("POST", "/sap/l/"+token, url.Values{}, "Origin", "https://bush.example.org", "X-Forwarded-For", "203.0.113.4")
	set := w.Header().Get("Set-Cookie")
	if w.Header().Get("Location") != "/sap/" || !strings.Contains(set, "Path=/sap/") || !strings.Contains(set, "Secure") {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	cookie, _, _ := strings.Cut(set, ";")
	for _, at := range append(pathsOf(sitePages), "/status") {
		body := p.must(200, "GET", "/sap"+at, nil, "Cookie", cookie)
		for _, m := range regexp.MustCompile(`(?:href|src|action|data-worker)="([^"#]*)`).FindAllStringSubmatch(body, -1) {
			if m[1] != "" && !strings.HasPrefix(m[1], "/sap/") && !strings.HasPrefix(m[1], "https://open-meteo.com") {
				t.Errorf("%s leads to %s", at, m[1])
			}
		}
	}
	if m := p.must(200, "GET", "/app.webmanifest", nil); !strings.Contains(m, `"scope":"/sap/"`) {
		t.Error(m)
	}
}

// Every route of the pages, as it is registered, asks who comes: a stranger gets
// nothing but what is meant for strangers, a viewer changes nothing, and no form of
// another site is taken from anybody.
func TestEveryRouteAsksWho(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	open := map[string]bool{ // what strangers may have
		"GET /login": true, "POST /login": true, "GET /setup": true, "POST /setup": true, "GET /l/{link}": true, "POST /l/{link}": true,
		"GET /a/{delivery}": true, "POST /a/{delivery}": true,
	}
	as := map[auth.Role]string{auth.Nobody: ""}
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		token, err := p.h.Auth.MakeLink(t.Context(),
			auth.Link{Kind: auth.CrewLink, Name: string(role), Role: role, Site: "kettle", Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		as[role], _, _ = strings.Cut(p.ask("POST", "/l/"+token, url.Values{}).Header().Get("Set-Cookie"), ";")
	}
	router := chi.NewRouter()
	p.h.Pages.Register(router)
	routes, checked := 0, 0
	err := chi.Walk(router, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if method != "GET" && method != "POST" {
			return nil
		}
		routes++
		pattern = strings.TrimSuffix(pattern, "/")
		path := strings.NewReplacer("{site}", "kettle", "{id}", "none", "{link}", "none", "{delivery}", "none", "*",
			"none").Replace(pattern)
		if path == "" {
			path = "/"
		}
		for role, cookie := range as {
			checked++
			code := p.ask(method, path, url.Values{}, "Cookie", cookie).Code
			static := method == "GET" && regexp.MustCompile(`\.(css|js|png|svg|webmanifest|json|ico|txt)$`).MatchString(path)
			switch {
			case code >= 500:
				t.Errorf("%s %s as %q: %d", method, pattern, role, code)
			case role == auth.Nobody && code < 300 && !open[method+" "+pattern] && !static:
				t.Errorf("%s %s answers a stranger with %d", method, pattern, code)
			case role == auth.Viewer && method == "POST" && code < 300 && !open[method+" "+pattern]:
				t.Errorf("%s %s lets a viewer in: %d", method, pattern, code)
			}
			if method == "POST" {
				checked++
				if code := p.ask(method, path, url.Values{}, "Cookie", cookie, "Sec-Fetch-Site", "cross-site", "Origin",
					"https://evil.example").Code; code != http.StatusForbidden {
					t.Errorf("%s %s takes another site's form as %q: %d", method, pattern, role, code)
				}
			}
		}
		return nil
	})
	if err != nil || routes < 20 {
		t.Errorf("%d routes: %v", routes, err)
	}
	t.Logf("%d routes, %d times asked", routes, checked)
}

// Figures are for tokens with their scope, and for no other from elsewhere.
func TestFiguresForTokens(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	for _, c := range []struct {
		scope auth.Scope
		want  int
	}{{auth.ReadMetrics, 200}, {auth.ReadOutlook, 401}} {
		token, err := p.h.Auth.MakeToken(t.Context(), auth.Token{Name: "x", Scopes: []auth.Scope{c.scope}, Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		p.must(c.want, "GET", "/metrics", nil, "Authorization", "Bearer "+token)
	}
}

// A token made on the page is for one bush unless somebody chose all; nothing is made for
// a bush that there is none of. Records are kept by no cache on the way.
func TestTokensAndLinksAreForABushThatIs(t *testing.T) {
	p := demoPages(t, nil)
	made := func() (links, tokens int, newest string) {
		t.Helper()
		l, err := p.h.Auth.Links(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		k, err := p.h.Auth.Tokens(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if len(k) > 0 {
			newest = k[0].Site
		}
		return len(l), len(k), newest
	}
	token := func(want int, site string) {
		t.Helper()
		p.must(want, "POST", "/people", url.Values{"do": {"token"}, "name": {"lamp"}, "scope": {"outlook:read"}, "days": {"3"},
			"site": {site}})
	}
	token(422, "")
	token(422, "none")
	p.must(422, "POST", "/people", url.Values{"do": {"link"}, "name": {"helpers"}, "role": {"crew"}, "days": {"3"}, "site": {"none"}})
	if links, tokens, _ := made(); links+tokens != 0 {
		t.Errorf("%d links and %d tokens for no bush", links, tokens)
	}
	token(200, "kettle")
	if _, tokens, site := made(); tokens != 1 || site != "kettle" {
		t.Errorf("%d tokens, the newest for %q", tokens, site)
	}
	token(200, "*")
	p.must(200, "POST", "/people", url.Values{"do": {"link"}, "name": {"helpers"}, "role": {"crew"}, "days": {"3"}, "site": {""}})
	if links, tokens, _ := made(); links != 1 || tokens != 2 {
		t.Errorf("%d links, %d tokens", links, tokens)
	}
	for _, path := range []string{"/site/kettle/records.csv", "/api/v1/sites/kettle/records"} {
		r := httptest.NewRequest("GET", "http://127.0.0.1:8787"+path, nil)
		p.from(r)
		w := httptest.NewRecorder()
		p.handler.ServeHTTP(w, r)
		if got := w.Header().Get("Cache-Control"); w.Code != 200 || got != "private, no-store" {
			t.Errorf("%s: %d, Cache-Control %q", path, w.Code, got)
		}
	}
}
