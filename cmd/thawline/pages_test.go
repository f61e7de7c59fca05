package main

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"log/slog"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"thawline/cmd/thawline/internal/access"
	"thawline/config"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// pages are the demonstration's pages without a socket.
type pages struct {
	t       testing.TB
	h       *house
	handler http.Handler
	asked   int
	lang    string // of who brings a notebook
}

func demoPages(t testing.TB, change func(*config.Config)) *pages {
	t.Helper()
	settings, err := demoSettings()
	if err != nil {
		t.Fatal(err)
	}
	settings.Serve.Listen = "127.0.0.1:8787"
	if change != nil {
		change(settings)
	}
	days := demoDays
	if testing.Short() {
		days = 2
	}
	h, a, err := demoHouse(t.Context(), &globals{log: slog.New(slog.DiscardHandler)}, settings, t.TempDir(), days)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return &pages{t: t, h: h, handler: h.handler()}
}

func (p *pages) ask(method, path string, form url.Values, headers ...string) *httptest.ResponseRecorder {
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r := httptest.NewRequest(method, "http://127.0.0.1:8787"+path, body)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	r.Header.Set("Accept", "text/html")
	p.asked++ // each from an address of its own: how fast one may ask is tested elsewhere
	r.RemoteAddr = fmt.Sprintf("192.0.%d.%d:1", p.asked/250%250, p.asked%250)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	p.handler.ServeHTTP(w, r)
	return w
}

func (p *pages) must(want int, method, path string, form url.Values, headers ...string) string {
	p.t.Helper()
	w := p.ask(method, path, form, headers...)
	if w.Code != want {
		p.t.Errorf("%s %s: %d, not %d\n%.400s", method, path, w.Code, want, w.Body)
	}
	return w.Body.String()
}

var sitePages = []string{"", "/rounds", "/boil", "/flow", "/flow?season=2024", "/flow?from=2026-03-01&days=30", "/season", "/season?season=2023", "/records", "/records?season=2024", "/skill", "/wall"}

// Every page in both languages and all units, under its strict policy, without a
// word left in the other language, and light.
func TestEveryPage(t *testing.T) {
	p := demoPages(t, nil)
	for _, at := range sitePages {
		for _, lang := range []string{"en", "fr"} {
			for _, system := range []string{"us", "imperial", "metric"} {
				join := "?"
				if strings.Contains(at, "?") {
					join = "&"
				}
				w := p.ask("GET", "/site/kettle"+at+join+"lang="+lang+"&units="+system, nil, "Accept-Encoding", "gzip")
				if w.Code != 200 {
					t.Errorf("%s %s %s: %d", at, lang, system, w.Code)
					continue
				}
				if n := w.Body.Len(); n > 60_000 {
					t.Errorf("%s weighs %d bytes", at, n)
				}
				z, err := gzip.NewReader(w.Body)
				if err != nil {
					t.Fatal(err)
				}
				data, err := io.ReadAll(z)
				if err != nil {
					t.Fatal(err)
				}
				body := string(data)
				if !strings.Contains(body, `<html lang="`+lang+`">`) {
					t.Errorf("%s is not in %s", at, lang)
				}
				for _, no := range []string{"<no value>", "{{", "NaN", "Inf", "style=", "onclick", `src="http`, "<script>"} {
					if strings.Contains(body, no) {
						t.Errorf("%s %s %s holds %q", at, lang, system, no)
					}
				}
				if key := regexp.MustCompile(`>(?:[a-z]+_)+[a-z]+<`).FindString(body); key != "" {
					t.Errorf("%s %s: a key without words: %s", at, lang, key)
				}
				if policy := w.Header().Get("Content-Security-Policy"); !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") {
					t.Errorf("%s: %s", at, policy)
				}
			}
		}
	}
	p.must(404, "GET", "/site/none", nil)
	p.must(404, "GET", "/site/kettle/none", nil)
	p.must(404, "GET", "/none", nil)
	if w := p.ask("GET", "/site/kettle/flow.png?from=2024-03-10&days=10", nil); w.Code != 200 || !bytes.HasPrefix(w.Body.Bytes(), []byte("\x89PNG")) {
		t.Errorf("%d %.20s", w.Code, w.Body)
	}
	for _, odd := range []string{"?from=1700-01-01", "?from=9999-01-01&days=9999", "?season=99999", "?from=%00&days=-1", "?season=2010"} {
		p.must(200, "GET", "/site/kettle/flow"+odd, nil)
	}
}

// The first load of the outlook, with all that the page asks for, over the wire.
func TestFirstLoadIsLight(t *testing.T) {
	p := demoPages(t, nil)
	w := p.ask("GET", "/site/kettle", nil)
	sum := 0
	asked := append([]string{"/site/kettle"}, regexp.MustCompile(`(?:href|src)="(/[^"]+\.(?:css|js|svg|webmanifest)[^"]*)"`).FindAllString(w.Body.String(), -1)...)
	for _, what := range asked {
		path := what[strings.Index(what, "/"):]
		z := p.ask("GET", strings.Trim(path, `"`), nil, "Accept-Encoding", "gzip")
		if z.Code != 200 {
			t.Errorf("%s: %d", path, z.Code)
		}
		sum += z.Body.Len()
	}
	t.Logf("%d files, %d bytes", len(asked), sum)
	if len(asked) < 5 || sum > 30_000 {
		t.Errorf("%d files, %d bytes: more than an old phone should wait for", len(asked), sum)
	}
}

// What people write stays text: in names of bush and groups, notes, file names,
// addresses.
func TestHostileWords(t *testing.T) {
	const script = `"><script>alert(1)</script><img src=x onerror=alert(1)>`
	p := demoPages(t, func(c *config.Config) {
		c.Sites[0].Name = script
		c.Sites[0].Groups[0].Name = script
		c.People[0].Name = script
	})
	p.must(303, "POST", "/site/kettle/entries", url.Values{"key": {"hostile-1"}, "group": {"ridge"}, "volume": {"3"}, "note": {script + "\r\nSet-Cookie: a=b"}})
	for _, at := range append([]string{"/status", "/people", "/site/" + url.PathEscape(script)}, pathsOf(sitePages)...) {
		w := p.ask("GET", at, nil)
		if s := w.Body.String(); strings.Contains(s, "<script>alert") || strings.Contains(s, "<img") {
			t.Errorf("%s runs what somebody wrote", at)
		}
	}
	if s := p.must(200, "GET", "/site/kettle/records", nil); !strings.Contains(s, "&lt;script&gt;alert") || strings.Contains(s, "\nSet-Cookie") {
		t.Errorf("the note is not there as it was written")
	}
	if s := p.must(200, "GET", "/site/kettle?lang=%22%3E%3Cscript%3E&units=x&done=done_%3Cscript%3E", nil); strings.Contains(s, "<script>") {
		t.Error("the address runs")
	}
	w := p.ask("GET", "/site/kettle?lang=fr%0d%0aSet-Cookie:%20a=b", nil)
	if strings.Contains(fmt.Sprint(w.Header()), "a=b") {
		t.Error(w.Header())
	}
}

func pathsOf(at []string) (out []string) {
	for _, a := range at {
		out = append(out, "/site/kettle"+a)
	}
	return out
}

// Entries by form: what is wrong is said in words, what is right is kept once.
func TestEntries(t *testing.T) {
	p := demoPages(t, nil)
	enter := func(form url.Values) (int, string) {
		w := p.ask("POST", "/site/kettle/entries", form, "Accept", "application/json")
		return w.Code, w.Body.String()
	}
	good := url.Values{"key": {"phone-0001"}, "group": {"ridge"}, "volume": {"12,5"}, "units": {"us"}, "brix": {"2.2"}, "full": {"1"}, "ago": {"3600"}}
	change := func(name, value string) url.Values {
		out := url.Values{}
		for k, v := range good {
			out[k] = v
		}
		out.Set(name, value)
		return out
	}
	for _, bad := range []struct{ name, value, says string }{
		{"group", "none", "no such group"}, {"volume", "much", "How much"}, {"volume", "-3", "How much"}, {"volume", "NaN", "How much"}, {"volume", "1e300", "How much"},
		{"volume", "9000", "more than they can hold"}, {"brix", "40", "1 to 5 %"}, {"ago", "-5", "time"}, {"ago", "99999999", "time"}, {"key", "", "come through"},
		{"key", strings.Repeat("x", 99), "come through"}, {"note", strings.Repeat("x", 600), "too long"}, {"local", "yesterday", "time"},
	} {
		if status, said := enter(change(bad.name, bad.value)); status != 422 || !strings.Contains(said, bad.says) {
			t.Errorf("%s %s: %d %s", bad.name, bad.value, status, said)
		}
	}
	if status, said := enter(url.Values{"key": {"phone-0002"}, "group": {"ridge"}}); status != 422 || !strings.Contains(said, "Nothing was entered") {
		t.Errorf("%d %s", status, said)
	}
	for i, state := range []string{"kept", "again", "again"} {
		if status, said := enter(good); status != 200 || !strings.Contains(said, state) {
			t.Errorf("%d: %d %s", i, status, said)
		}
	}
	visits, err := p.h.archive.Visits(t.Context(), "kettle", testdata.Now().Add(-2*time.Hour), time.UTC)
	if err != nil || len(visits) != 1 || math.Abs(visits[0].VolumeL-12.5*3.785) > 0.01 || visits[0].Note != "full" || testdata.Now().Sub(visits[0].CollectedAt) < 59*time.Minute {
		t.Fatalf("%v %+v", err, visits)
	}

	// Correcting, taking out, giving back; two at once are told.
	at := "/site/kettle/records/" + visits[0].ID
	p.must(200, "POST", at, url.Values{"do": {"ask"}})
	p.must(409, "POST", at, url.Values{"do": {"correct"}, "revision": {"7"}, "volume": {"3"}})
	p.must(422, "POST", at, url.Values{"do": {"correct"}, "revision": {"1"}, "volume": {"9000"}})
	p.must(303, "POST", at, url.Values{"do": {"correct"}, "revision": {"1"}, "volume": {"3"}, "note": {"looked again"}})
	p.must(303, "POST", at, url.Values{"do": {"remove"}})
	p.must(404, "POST", at, url.Values{"do": {"remove"}})
	p.must(303, "POST", at, url.Values{"do": {"undo"}})
	if visits, err = p.h.archive.Visits(t.Context(), "kettle", testdata.Now().Add(-2*time.Hour), time.UTC); err != nil || len(visits) != 1 || visits[0].Note != "looked again" {
		t.Errorf("%v %+v", err, visits)
	}
	p.must(404, "POST", "/site/kettle/records/none", url.Values{"do": {"undo"}})
	p.must(400, "POST", at, url.Values{"do": {"dance"}})
}

// bring sends a notebook to be imported.
func (p *pages) bring(name, text string) *httptest.ResponseRecorder {
	p.t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	part, err := form.CreateFormFile("file", name)
	if err != nil {
		p.t.Fatal(err)
	}
	_, _ = io.WriteString(part, text)
	_ = form.Close()
	r := httptest.NewRequest("POST", "http://127.0.0.1:8787/site/kettle/records/import", &b)
	r.Header.Set("Content-Type", form.FormDataContentType())
	r.Header.Set("Accept-Language", p.lang)
	w := httptest.NewRecorder()
	p.handler.ServeHTTP(w, r)
	return w
}

func TestNotebookComesInAndOut(t *testing.T) {
	p := demoPages(t, nil)
	out := p.must(200, "GET", "/site/kettle/records.csv", nil)
	n := strings.Count(strings.TrimSpace(out), "\n")
	if w := p.bring("old.csv", out); w.Code != 200 || !strings.Contains(w.Body.String(), fmt.Sprintf("0 added, %d already there, 0 corrected", n)) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w := p.bring("new.csv", "date,group,taps,volume_l\n2022-03-20,ridge,60,100\n2022-03-21,ridge,60,99999\n"); w.Code != 422 || !strings.Contains(w.Body.String(), "line 3: 26417 gallons from 60 taps is more than they can hold") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w := p.bring("new.csv", "date,volume_l\n2022-03-20,much\n"); w.Code != 422 || !strings.Contains(w.Body.String(), "much") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	p.must(422, "POST", "/site/kettle/records/import", url.Values{})
	if after := p.must(200, "GET", "/site/kettle/records.csv", nil); after != out {
		t.Error("a refused file left something behind")
	}
}

// All that is wrong with a notebook is told at once, in the reader's language and by
// line; groups go by their names, and columns that are not read are named.
func TestNotebookInTheReadersWords(t *testing.T) {
	p := demoPages(t, nil)
	site := p.h.daemon.Sites()[0]
	name := site.Groups[0].Name
	const head = "date,groupe,litres,sucre,Lune\n"
	p.lang = "fr"
	w := p.bring("cahier.csv", head+"2022-03-20,rigde,10,,\n2027-03-20,"+name+",10,,\n2022-03-22,"+name+",99999,,\n2022-03-23,"+name+",10,12,\n")
	for _, want := range []string{"Rien n&#39;a été gardé", "ligne\u00a02\u00a0: il n&#39;y a pas de groupe «\u00a0rigde\u00a0»", "ligne\u00a03\u00a0: le 2027-03-20 est dans l&#39;avenir", "ligne\u00a04\u00a0: 26417 gallons pour 60 entailles", "ligne\u00a05\u00a0: 12\u00a0% de sucre"} {
		if w.Code != 422 || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%d: no %q in %s", w.Code, want, w.Body)
		}
	}
	if w := p.bring("cahier.csv", head+"2022-03-20,"+strings.ToUpper(name)+",10,,pleine\n"); w.Code != 200 || !strings.Contains(w.Body.String(), "Notes ajoutées\u00a0: 1") || !strings.Contains(w.Body.String(), "pas lu\u00a0: Lune") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// What was ticked is shown in the reader's language, whoever ticked it, and a
// correction leaves it as it is kept; groups are called by their names.
func TestTicksInTheReadersWords(t *testing.T) {
	p := demoPages(t, nil)
	p.must(303, "POST", "/site/kettle/entries?lang=en", url.Values{"key": {"ticks-0001"}, "group": {"ridge"}, "volume": {"3"}, "full": {"1"}, "ice": {"1"}, "note": {"tipped"}})
	p.must(303, "POST", "/site/kettle/entries", url.Values{"key": {"ticks-0002"}, "group": {"hollow"}, "not_checked": {"1"}})
	if s := p.must(200, "GET", "/site/kettle/records?lang=fr", nil); !strings.Contains(s, "plein, glace, tipped") || !strings.Contains(s, "sur la page") {
		t.Errorf("%s", s)
	}
	if s := p.must(200, "GET", "/site/kettle/rounds?lang=fr", nil); !strings.Contains(s, "\u00a0: pas vérifié") {
		t.Errorf("%s", s)
	}
	visits, err := p.h.archive.Visits(t.Context(), "kettle", testdata.Now().Add(-time.Minute), time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	for i := range visits {
		if visits[i].Group != "ridge" {
			continue
		}
		at := "/site/kettle/records/" + visits[i].ID + "?lang=fr"
		name := p.h.daemon.Sites()[0].Groups[0].Name
		if s := p.must(200, "POST", at, url.Values{"do": {"ask"}}); !strings.Contains(s, "plein, glace, tipped") || !strings.Contains(s, ", "+name) {
			t.Errorf("%s", s)
		}
		p.must(303, "POST", at, url.Values{"do": {"correct"}, "revision": {"1"}, "volume": {"4"}, "note": {"plein, glace"}})
		if one, err := p.h.archive.Visit(t.Context(), visits[i].ID, time.UTC); err != nil || one.Note != "full, ice" {
			t.Errorf("%v %+v", err, one)
		}
	}
}

// Who is not let in is told on a page, in the reader's language, and what to do; programs
// get a problem.
func TestNotLetInInWords(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	link, err := p.h.gate.MakeLink(t.Context(), access.Link{Kind: access.CrewLink, Name: "Ida", Role: access.Crew, Days: 1}, "test")
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
		{403, "POST", "/site/kettle/entries", "une autre adresse", []string{"Cookie", cookie, "Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site"}},
	} {
		s := p.must(c.status, c.method, c.path, url.Values{}, append(c.headers, "Accept-Language", "fr")...)
		if !strings.Contains(s, c.says) || !strings.Contains(s, `<html lang="fr">`) {
			t.Errorf("%s: no %q in %s", c.path, c.says, s)
		}
	}
	for _, token := range []string{"", "Bearer thawline_none"} {
		var headers []string
		if token != "" {
			headers = []string{"Authorization", token}
		}
		w := p.ask("GET", "/api/v1/sites", nil, headers...)
		if w.Code != 401 || w.Header().Get("Content-Type") != "application/problem+json" || !strings.Contains(w.Body.String(), `"status":401`) {
			t.Errorf("%q: %d %v %s", token, w.Code, w.Header(), w.Body)
		}
	}
}

// A picture that can't be made for a fault of the database is not called missing.
func TestPictureWithoutDatabase(t *testing.T) {
	p := demoPages(t, nil)
	if err := p.h.archive.Close(); err != nil {
		t.Fatal(err)
	}
	p.must(500, "GET", "/site/kettle/flow.png", nil)
}

// What an address says that came of a form is one of a few things.
func TestNoticesAreKnown(t *testing.T) {
	p := demoPages(t, nil)
	for key, shown := range map[string]bool{"done_entered": true, "done_seen": true, "done_nonsense": false, "done_": false, "nav_rounds": false} {
		if s := p.must(200, "GET", "/site/kettle?done="+key, nil); strings.Contains(s, `class="notice"`) != shown {
			t.Errorf("%s: %.2000s", key, s)
		}
	}
}

// No role sees more than it should, and numbers are nobody's to see.
func TestPagesByRole(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	as := map[access.Role]string{}
	for _, role := range []access.Role{access.Viewer, access.Crew} {
		token, err := p.h.gate.MakeLink(t.Context(), access.Link{Kind: access.CrewLink, Name: string(role), Role: role, Site: "kettle", Days: 1}, "test")
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
		{"GET", "/site/kettle", nil, 303, 200, 200}, {"GET", "/site/kettle/rounds", nil, 303, 200, 200}, {"GET", "/site/kettle/records.csv", nil, 303, 200, 200},
		{"GET", "/status", nil, 303, 200, 200}, {"GET", "/people", nil, 303, 403, 403}, {"POST", "/people", url.Values{"do": {"token"}}, 401, 403, 403},
		{"POST", "/site/kettle/entries", entry("role-0001"), 401, 403, 303}, {"POST", "/site/kettle/records/x", url.Values{"do": {"remove"}}, 401, 403, 403},
		{"POST", "/site/kettle/records/import", url.Values{}, 401, 403, 403}, {"POST", "/site/kettle/seen", url.Values{"message": {"x"}}, 401, 403, 404},
		{"GET", "/site/other", nil, 303, 404, 404}, {"GET", "/metrics", nil, 401, 401, 401}, {"GET", "/login", nil, 303, 303, 303}, {"GET", "/healthz", nil, 200, 200, 200},
		{"GET", "/none", nil, 303, 404, 404}, {"GET", "/style.css", nil, 200, 200, 200}, {"GET", "/worker.js", nil, 200, 200, 200},
	} {
		for role, want := range map[access.Role]int{access.Nobody: c.nobody, access.Viewer: c.viewer, access.Crew: c.crew} {
			w := p.ask(c.method, c.path, c.form, "Cookie", as[role])
			if w.Code != want {
				t.Errorf("%s %s as %q: %d, not %d", c.method, c.path, role, w.Code, want)
			}
		}
	}
	for _, at := range pathsOf(sitePages) {
		if s := p.must(200, "GET", at, nil, "Cookie", as[access.Viewer]); strings.Contains(s, "Odell") || strings.Contains(s, "<button>Save") {
			t.Errorf("%s shows a viewer who wrote, or lets them write", at)
		}
	}
}

// Behind a proxy that serves them below a path, every address on the pages stays
// below it.
func TestBelowABasePath(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.Link = "https://bush.example.org/sap" })
	token, err := p.h.gate.MakeLink(t.Context(), access.Link{Kind: access.CrewLink, Name: "x", Role: access.Crew, Days: 1}, "test")
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

// BenchmarkPages times pages on the demonstration with ten seasons of records.
func BenchmarkPages(b *testing.B) {
	p := demoPages(b, nil)
	site := p.h.daemon.Sites()[0]
	visits, err := demoVisits(&site)
	if err != nil {
		b.Fatal(err)
	}
	for back := 1; back <= 7; back++ { // three springs are there
		hours, err := p.h.archive.Hours(b.Context(), placeKey(&site), time.Date(2023, 12, 1, 0, 0, 0, 0, time.UTC), time.Date(2024, 6, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			b.Fatal(err)
		}
		moved := weather.NewSeries(time.Date(2023-back-1, 12, 1, 0, 0, 0, 0, time.UTC), hours.Hours())
		for _, v := range []weather.Variable{weather.TemperatureC, weather.ShortwaveWM2} {
			copy(moved.Col(v), hours.Col(v))
		}
		if err := p.h.archive.PutHours(b.Context(), placeKey(&site), &moved); err != nil {
			b.Fatal(err)
		}
		var old []records.Visit
		for _, v := range visits {
			if v.CollectedAt.Year() == 2024 {
				v.Site, v.CollectedAt = site.ID, v.CollectedAt.AddDate(-back-1, 0, 0)
				old = append(old, v)
			}
		}
		if _, err := p.h.archive.PutVisits(b.Context(), old, "Odell", testdata.Now()); err != nil {
			b.Fatal(err)
		}
	}
	for _, at := range []string{"", "/season", "/flow?season=2019", "/records", "/skill", "/rounds"} {
		b.Run("site"+at, func(b *testing.B) {
			var times []float64
			p.must(200, "GET", "/site/kettle"+at, nil)
			for b.Loop() {
				began := time.Now()
				if w := p.ask("GET", "/site/kettle"+at, nil, "Accept-Encoding", "gzip"); w.Code != 200 {
					b.Fatal(w.Code)
				}
				times = append(times, time.Since(began).Seconds()*1000)
			}
			slices.Sort(times)
			b.ReportMetric(times[len(times)/2], "median-ms")
		})
	}
}

// Five thousand rows in one file are brought in within a request's time, told twice
// they add nothing, and one bad row among them keeps all out and is named.
func TestFiveThousandRows(t *testing.T) {
	p := demoPages(t, nil)
	var rows strings.Builder
	rows.WriteString("date,group,taps,volume_l\n")
	for i := range 5000 {
		day := time.Date(1995, 2, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, i%60).AddDate(i/180, 0, 0)
		fmt.Fprintf(&rows, "%s,%s,60,%d\n", day.Format(time.DateOnly), []string{"ridge", "hollow", "lane"}[i/60%3], 1+i%90)
	}
	bring := func(text string) string { return p.bring("old.csv", text).Body.String() }
	if page := bring(strings.Replace(rows.String(), ",60,40\n", ",60,forty\n", 1)); !strings.Contains(page, "forty") {
		t.Errorf("a bad row is not named: %.600s", page)
	}
	began := time.Now()
	first := bring(rows.String())
	took := time.Since(began)
	if !strings.Contains(first, "5000 added") {
		t.Errorf("%.1500s", first)
	}
	if again := bring(rows.String()); !strings.Contains(again, "0 added, 5000") {
		t.Errorf("%.1500s", again)
	}
	t.Logf("5,000 rows in %s", took)
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
	as := map[access.Role]string{access.Nobody: ""}
	for _, role := range []access.Role{access.Viewer, access.Crew} {
		token, err := p.h.gate.MakeLink(t.Context(), access.Link{Kind: access.CrewLink, Name: string(role), Role: role, Site: "kettle", Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		as[role], _, _ = strings.Cut(p.ask("POST", "/l/"+token, url.Values{}).Header().Get("Set-Cookie"), ";")
	}
	router := chi.NewRouter()
	p.h.pages.Register(router)
	routes, checked := 0, 0
	err := chi.Walk(router, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if method != "GET" && method != "POST" {
			return nil
		}
		routes++
		pattern = strings.TrimSuffix(pattern, "/")
		path := strings.NewReplacer("{site}", "kettle", "{id}", "none", "{link}", "none", "{delivery}", "none", "*", "none").Replace(pattern)
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
			case role == access.Nobody && code < 300 && !open[method+" "+pattern] && !static:
				t.Errorf("%s %s answers a stranger with %d", method, pattern, code)
			case role == access.Viewer && method == "POST" && code < 300 && !open[method+" "+pattern]:
				t.Errorf("%s %s lets a viewer in: %d", method, pattern, code)
			}
			if method == "POST" {
				checked++
				if code := p.ask(method, path, url.Values{}, "Cookie", cookie, "Sec-Fetch-Site", "cross-site", "Origin", "https://evil.example").Code; code != http.StatusForbidden {
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

// What was said of "tomorrow" stands until then and no longer: where no weather can be
// used any more the pages say so, and nothing old passes for new.
func TestOldOutlooksAreNotShown(t *testing.T) {
	p := demoPages(t, nil)
	at := testdata.Now()
	p.h.pages.Now = func() time.Time { return at }
	for _, c := range []struct {
		after      time.Duration
		says, none string
	}{
		{0, "Strong run tomorrow", "no usable weather"},
		{3 * time.Hour, "Weather 3 hours old", "no usable weather"},
		{8 * time.Hour, "Made Friday 20 Mar", "no usable weather"}, // past midnight
		{50 * time.Hour, "no usable weather since Friday 20 Mar", "Strong run"},
	} {
		at = testdata.Now().Add(c.after)
		for _, path := range []string{"", "/boil", "/wall", "/rounds"} {
			s := p.must(200, "GET", "/site/kettle"+path, nil)
			if path == "" && !strings.Contains(s, c.says) || strings.Contains(s, c.none) {
				t.Errorf("%s after %s: %q or not %q in %.2000s", path, c.after, c.none, c.says, s)
			}
		}
	}
	at = time.Date(2026, 3, 21, 4, 30, 0, 0, time.UTC) // Saturday, half past midnight
	if s := p.must(200, "GET", "/site/kettle", nil); strings.Contains(s, "tomorrow, Saturday") || !strings.Contains(s, "Otherwise today") {
		t.Error("a round of today is called tomorrow's")
	}
}

// Nobody is sent to pails that somebody has just written down as gathered.
func TestPagesKnowWhatWasJustGathered(t *testing.T) {
	p := demoPages(t, nil)
	at := testdata.Now().Add(20 * time.Minute)
	p.h.pages.Now = func() time.Time { return at }
	if s := p.must(200, "GET", "/site/kettle", nil); !strings.Contains(s, "Tonight if you can: Ridge pails, Lane tubing") {
		t.Fatalf("%.3000s", s)
	}
	p.must(303, "POST", "/site/kettle/entries", url.Values{"key": {"gathered-1"}, "group": {"ridge"}, "volume": {"60"}})
	s := p.must(200, "GET", "/site/kettle", nil)
	if !strings.Contains(s, "Tonight if you can: Lane tubing will be full") || !strings.Contains(s, "Written down since: Ridge pails.") || strings.Contains(s, "Gather Ridge pails by Friday") {
		t.Errorf("%.3000s", s)
	}
	if s := p.must(200, "GET", "/site/kettle/rounds", nil); strings.Contains(s, "about 74 gallons expected") || !strings.Contains(s, "Written down since: Ridge pails.") {
		t.Errorf("%.3000s", s)
	}
}
