package web_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/config"
	"thawline/testdata"
)

// The button on the round pulls the taps of a group: now, or when a phone without signal
// was pressed, with what was found beside it. The group is then below the others, where it
// can be undone or tapped again.
func TestTapsPulledOnThePage(t *testing.T) {
	p := demoPages(t, nil)
	defer p.h.Remake(t.Context(), nil)()
	events := func() string {
		t.Helper()
		stored, err := p.h.Archive.TapEvents(t.Context(), "kettle", time.Time{}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		out := ""
		for _, s := range stored {
			out += s.Group + " " + string(s.Kind) + " "
		}
		return out
	}
	rounds := func() (groups, pulled string) {
		t.Helper()
		page := p.must(200, "GET", "/site/kettle/rounds", nil)
		above, below, _ := strings.Cut(page, `class="pulled"`)
		return above, below
	}
	if above, below := rounds(); !strings.Contains(above, "Ridge pails") || strings.Count(above, `name="pulled"`) != 3 || below != "" {
		t.Fatalf("%s", above)
	}
	w := p.ask("POST", "/site/kettle/entries", url.Values{"key": {"pull-0001"}, "group": {"ridge"}, "pulled": {"1"}})
	if w.Code != 303 || !strings.HasSuffix(w.Header().Get("Location"), "/rounds?done=done_pulled") || events() != "ridge pulled " {
		t.Fatalf("%d %v %s", w.Code, w.Header(), events())
	}
	above, below := rounds()
	if strings.Contains(above, "Ridge pails") || strings.Contains(above, `value="ridge"`) || !strings.Contains(below, "Ridge pails") ||
		!strings.Contains(below, ">Undo<") || !strings.Contains(below, ">Tapped again<") {
		t.Errorf("%s", above+below)
	}
	marks := regexp.MustCompile(`(?s)<figure.*?</details>`) // visits that were
	if s := marks.ReplaceAllString(p.must(200, "GET", "/site/kettle", nil), ""); strings.Contains(s, "Ridge pails") ||
		!strings.Contains(s, "Lane tubing") {
		t.Errorf("%s", s)
	}
	for _, at := range p.sitePages("") {
		if strings.Contains(at, "/records") || strings.Contains(at, "/flow") || strings.HasSuffix(at, "/skill") ||
			strings.HasSuffix(at, "/review") { // what was
			continue
		}
		s, _, _ := strings.Cut(marks.ReplaceAllString(p.must(200, "GET", at, nil), ""), `class="pulled"`)
		if i := strings.Index(s, "Ridge pails"); i >= 0 {
			t.Errorf("%s: … %s …", at, s[max(i-200, 0):min(i+200, len(s))])
		}
	}
	if s := p.must(200, "GET", "/site/kettle/records", nil); !strings.Contains(s, "taps pulled") {
		t.Errorf("%s", s)
	}
	if s := p.must(200, "GET", "/site/kettle/records.csv", nil); !strings.Contains(s, ",pulled\n") {
		t.Errorf("%s", s)
	}
	id := regexp.MustCompile(`name="id" value="([^"]+)"`).FindStringSubmatch(below)[1]
	p.must(303, "POST", "/site/kettle/taps", url.Values{"do": {"undo"}, "id": {id}})
	if above, below := rounds(); !strings.Contains(above, "Ridge pails") || below != "" || events() != "" {
		t.Errorf("%s %s", events(), above)
	}

	// Pressed an hour ago without signal, with what was in the pails.
	late := url.Values{"key": {"pull-0002"}, "group": {"ridge"}, "pulled": {"1"}, "volume": {"4"}, "units": {"us"}, "ago": {"3600"}}
	for range 2 { // a phone sends until it hears
		if w := p.ask("POST", "/site/kettle/entries", late, "Accept", "application/json"); w.Code != 200 {
			t.Errorf("%d %s", w.Code, w.Body)
		}
	}
	stored, err := p.h.Archive.TapEvents(t.Context(), "kettle", time.Time{}, time.UTC)
	if err != nil || len(stored) != 1 || stored[0].RecordedAt.Sub(stored[0].On).Round(2*time.Second) != time.Hour {
		t.Errorf("%v %+v", err, stored)
	}
	visits, err := p.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-2*time.Hour), time.UTC)
	if err != nil || len(visits) != 1 || visits[0].VolumeL < 15 {
		t.Errorf("%v %+v", err, visits)
	}
	p.must(303, "POST", "/site/kettle/taps", url.Values{"do": {"tapped"}, "group": {"ridge"}})
	if above, below := rounds(); !strings.Contains(above, "Ridge pails") || below != "" || events() != "ridge pulled ridge tapped " {
		t.Errorf("%s %s", events(), above)
	}

	wrong := url.Values{"key": {"pull-0003"}, "group": {"ridge"}, "pulled": {"1"}, "volume": {"lots"}}
	p.must(422, "POST", "/site/kettle/entries", wrong)
	p.must(422, "POST", "/site/kettle/entries", url.Values{"key": {"pull-0004"}, "group": {"none"}, "pulled": {"1"}})
	p.must(422, "POST", "/site/kettle/taps", url.Values{"do": {"tapped"}, "group": {"none"}})
	p.must(404, "POST", "/site/kettle/taps", url.Values{"do": {"undo"}, "id": {"none"}})
	p.must(400, "POST", "/site/kettle/taps", url.Values{"do": {"paint"}})
	if got := events(); got != "ridge pulled ridge tapped " {
		t.Errorf("what was wrong was kept: %s", got)
	}

	// All of them: the pages say that the season is closed, and no more of runs.
	for i, group := range []string{"ridge", "hollow", "lane"} {
		p.must(303, "POST", "/site/kettle/entries",
			url.Values{"key": {"pull-010" + string(rune('0'+i))}, "group": {group}, "pulled": {"1"}})
	}
	for began := time.Now(); p.h.Daemon.Behind(t.Context(), "kettle") && time.Since(began) < time.Minute; {
		time.Sleep(10 * time.Millisecond) // pages wait two seconds, which a busy machine may need for one outlook
	}
	s := p.must(200, "GET", "/site/kettle", nil)
	if !strings.Contains(s, "The taps are pulled: ") || !strings.Contains(s, "there is nothing to gather") ||
		strings.Contains(s, "Chance of a run tomorrow") || strings.Contains(s, "run tomorrow") {
		t.Errorf("%s", s)
	}
	for _, at := range p.sitePages("") {
		if strings.HasSuffix(at, "/skill") {
			continue // what was told
		}
		if s := p.must(200, "GET", at, nil, "Accept-Language", "fr"); strings.Contains(s, "coulée demain") ||
			strings.Contains(s, "going to run") {
			t.Errorf("%s: %s", at, s)
		}
	}
}

// Those who only look on see which taps are pulled, and can do nothing about it.
func TestViewersPullNothing(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true })
	as := map[auth.Role]string{}
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		token, err := p.h.Auth.MakeLink(t.Context(),
			auth.Link{Kind: auth.CrewLink, Name: string(role), Role: role, Site: "kettle", Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		cookie, _, _ := strings.Cut(p.ask("POST", "/l/"+token, url.Values{}).Header().Get("Set-Cookie"), ";")
		as[role] = cookie
	}
	pull := url.Values{"key": {"pull-0001"}, "group": {"ridge"}, "pulled": {"1"}}
	for role, want := range map[auth.Role]int{auth.Nobody: 401, auth.Viewer: 403} {
		p.must(want, "POST", "/site/kettle/entries", pull, "Cookie", as[role])
		p.must(want, "POST", "/site/kettle/taps", url.Values{"do": {"tapped"}, "group": {"ridge"}}, "Cookie", as[role])
	}
	p.must(303, "POST", "/site/kettle/entries", pull, "Cookie", as[auth.Crew])
	s := p.must(200, "GET", "/site/kettle/rounds", nil, "Cookie", as[auth.Viewer])
	if _, below, found := strings.Cut(s, `class="pulled"`); !found || !strings.Contains(below, "Ridge pails") ||
		strings.Contains(below, "Undo") || strings.Contains(below, "Tapped again") {
		t.Errorf("%s", s)
	}
}
