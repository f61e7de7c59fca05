package web_test

import (
	"cmp"
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
	// A phone is told to keep nothing that its holder may not open, and all that they may.
	viewers, crews := p.sitePages("", "Cookie", as[auth.Viewer]), p.sitePages("", "Cookie", as[auth.Crew])
	if slices.Contains(viewers, "/site/kettle/messages") || !slices.Contains(crews, "/site/kettle/messages") {
		t.Errorf("viewers keep %q, the crew %q", viewers, crews)
	}
	for _, at := range crews {
		p.must(200, "GET", at, nil, "Cookie", as[auth.Crew])
	}
	for _, at := range viewers {
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
	for _, at := range append(p.sitePages("/sap", "Cookie", cookie), "/sap/status") {
		body := p.must(200, "GET", at, nil, "Cookie", cookie)
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

// forStrangers are routes that ask nobody who comes.
var forStrangers = []string{"GET /login", "POST /login", "GET /login/provider/back", "GET /setup", "POST /setup", "GET /l/{link}",
	"POST /l/{link}", "GET /a/{delivery}", "POST /a/{delivery}"}

// ofThemselves are forms by which everybody who is let in changes what is theirs.
var ofThemselves = []string{"/logout", "/password"}

// forMore are pages that a viewer may not see, and from which role on.
var forMore = map[string]auth.Role{"/site/{site}/messages": auth.Crew, "/people": auth.Keeper, "/desk": auth.Keeper}

// Every route of the pages, as it is registered, asks who comes: a stranger gets
// nothing but what is meant for strangers, a viewer changes nothing and sees every page that
// is not for more, no form of another site is taken from anybody, and nobody's menu leads to
// what they may not see.
func TestEveryRouteAsksWho(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	login := map[auth.Role]string{}
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		token, err := p.h.Auth.MakeLink(t.Context(),
			auth.Link{Kind: auth.CrewLink, Name: string(role), Role: role, Site: "kettle", Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		login[role] = "/l/" + token
	}
	cookie := func(role auth.Role) string { // a new one for each question: some routes end a session
		if role == auth.Nobody {
			return ""
		}
		cookie, _, _ := strings.Cut(p.ask("POST", login[role], url.Values{}).Header().Get("Set-Cookie"), ";")
		return cookie
	}
	router := chi.NewRouter()
	p.h.Pages.Register(router)
	routes, checked, seen := 0, 0, 0
	err := chi.Walk(router, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if method != "GET" && method != "POST" {
			return nil
		}
		routes++
		pattern = strings.TrimSuffix(pattern, "/")
		path := cmp.Or(strings.NewReplacer("{site}", "kettle", "{id}", "none", "{link}", "none", "{delivery}", "none", "*",
			"none").Replace(pattern), "/")
		open := slices.Contains(forStrangers, method+" "+pattern)
		static := method == "GET" && regexp.MustCompile(`\.(css|js|png|svg|webmanifest|json|ico|txt)$`).MatchString(path)
		page := method == "GET" && !open && !static && !strings.Contains(pattern, "{id}")
		for _, role := range []auth.Role{auth.Nobody, auth.Viewer, auth.Crew} {
			checked++
			w := p.ask(method, path, url.Values{}, "Cookie", cookie(role))
			asked := strings.Contains(w.Header().Get("Location"), "/login?")
			switch may := role.May(needed(pattern)); {
			case w.Code >= 500:
				t.Errorf("%s %s as %q: %d; is there a template of the name that send is given, in pages?", method, pattern, role, w.Code)
			case role == auth.Nobody && w.Code < 300 && !open && !static:
				t.Errorf("%s %s answers a stranger with %d: register it below need(auth.Viewer), or name it in forStrangers", method,
					pattern, w.Code)
			case role == auth.Viewer && method == "POST" && w.Code < 400 && !open && !slices.Contains(ofThemselves, pattern):
				t.Errorf("%s %s lets a viewer in: %d: register it below need(auth.Crew)", method, pattern, w.Code)
			case role != auth.Nobody && asked:
				t.Errorf("%s %s asks a %s to log in who has", method, pattern, role)
			case page && role != auth.Nobody && may == (w.Code == http.StatusForbidden):
				t.Errorf("GET %s as %q: %d, and forMore says that they may see it: %t", pattern, role, w.Code, may)
			case page && may && role != auth.Nobody && strings.HasPrefix(pattern, "/site/"):
				seen++
			}
			if method == "POST" {
				checked++
				if code := p.ask(method, path, url.Values{}, "Cookie", cookie(role), "Sec-Fetch-Site", "cross-site", "Origin",
					"https://evil.example").Code; code != http.StatusForbidden {
					t.Errorf("%s %s takes another site's form as %q: %d", method, pattern, role, code)
				}
			}
		}
		return nil
	})
	if err != nil || routes < 20 || seen < 20 {
		t.Errorf("%d routes, %d pages seen: %v", routes, seen, err)
	}
	t.Logf("%d routes, %d times asked, %d pages of the bush seen", routes, checked, seen)
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		menu := menuOf(p.must(200, "GET", "/site/kettle", nil, "Cookie", cookie(role)))
		if len(menu) < 8 {
			t.Errorf("the menu of a %s: %q", role, menu)
		}
		for _, at := range menu {
			if code := p.ask("GET", at, nil, "Cookie", cookie(role)).Code; code != http.StatusOK {
				t.Errorf("the menu of a %s leads to %s, which answers %d: give its row in menu (view.go) the role of its route", role, at, code)
			}
		}
	}
}

// needed is the least role that a page is for.
func needed(pattern string) auth.Role {
	for begins, role := range forMore {
		if strings.HasPrefix(pattern, begins) {
			return role
		}
	}
	return auth.Viewer
}

// Every page of the bush that the routes have can be found: pages lead to it from the first.
func TestEveryPageOfTheBushIsFound(t *testing.T) {
	p := demoPages(t, nil)
	href := regexp.MustCompile(`<a [^>]*href="(/site/kettle[^"?#]*)`)
	found, next := map[string]bool{"/site/kettle": true}, []string{"/site/kettle"}
	for len(next) > 0 {
		at := next[0]
		next = next[1:]
		if strings.Contains(at, ".") { // a picture, a file
			continue
		}
		for _, m := range href.FindAllStringSubmatch(p.ask("GET", at, nil).Body.String(), -1) {
			if to := strings.TrimSuffix(m[1], "/"); !found[to] {
				found[to] = true
				next = append(next, to)
			}
		}
	}
	for _, at := range p.sitePages("") {
		if at, _, _ = strings.Cut(at, "?"); !found[at] {
			t.Errorf("nothing leads to %s: give it a row in menu (view.go), or a link on another page", at)
		}
	}
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
