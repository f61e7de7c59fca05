package daemon

import (
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// Every feed says when it changed and carries a tag; asked again with either, it is not
// sent; asked for its head alone, it says the same without a body.
func TestFeedsAreNotSentTwice(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	s := evenSettings("")
	s.Sites[0].Name, s.Channels = `<Upper> & "Lower"`, map[string]channel.Channel{"text": &recorder{}}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	d.Step(t.Context(), now)
	tells(t, d, alerts.Danger, "danger:1", "bush", now)
	h := hooksOf(d)
	h.Address = func(path string) string { return "https://sap.example.org/bush" + path }
	server := httptest.NewServer(h.Handler(func() time.Time { return now }))
	defer server.Close()
	address, err := Address(t.Context(), d.Ledger, "feed", "bush")
	if err != nil {
		t.Fatal(err)
	}
	ask := func(method, path string, header ...string) (*http.Response, string) {
		r, err := http.NewRequestWithContext(t.Context(), method, server.URL+"/f/"+address+"/"+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := 0; i < len(header); i += 2 {
			r.Header.Set(header[i], header[i+1])
		}
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = answer.Body.Close() }()
		body, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		return answer, string(body)
	}
	for _, path := range []string{"calendar.ics", "news.atom", "bulletin.txt", "bulletin.atom", "warning.cap"} {
		whole, body := ask("GET", path)
		tag, changed := whole.Header.Get("ETag"), whole.Header.Get("Last-Modified")
		if whole.StatusCode != 200 || len(tag) < 10 || changed == "" || body == "" {
			t.Errorf("%s: %d, tag %q, changed %q", path, whole.StatusCode, tag, changed)
		}
		for _, condition := range [][]string{{"If-None-Match", tag}, {"If-Modified-Since", changed}} {
			if again, body := ask("GET", path, condition...); again.StatusCode != 304 || body != "" || again.Header.Get("ETag") != tag {
				t.Errorf("%s with %v: %d %q", path, condition, again.StatusCode, body)
			}
		}
		if again, _ := ask("GET", path, "If-None-Match", `"another"`); again.StatusCode != 200 {
			t.Errorf("%s with another tag: %d", path, again.StatusCode)
		}
		if head, body := ask("HEAD", path); head.StatusCode != 200 || body != "" || head.Header.Get("ETag") != tag {
			t.Errorf("HEAD %s: %d %q", path, head.StatusCode, body)
		}
	}
	_, news := ask("GET", "news.atom")
	for _, want := range []string{`<title type="text">&lt;Upper&gt; &amp; &#34;Lower&#34;</title>`,
		`rel="self" type="application/atom+xml" href="https://sap.example.org/bush/f/` + address + `/news.atom"`,
		`rel="alternate" type="text/html" href="https://sap.example.org/bush/site/bush/"`} {
		if !strings.Contains(news, want) {
			t.Errorf("no %s in\n%s", want, news)
		}
	}
}

// A warning goes from the CAP address when it is of no more use; one that takes another's
// place names it, and one that is no longer so is called off by name.
func TestWarningsAreUpdatedCalledOffAndExpire(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, feed, _ := readBy(t, now)
	site := &d.settings.Sites[0]
	moment := now
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return moment }))
	defer server.Close()
	_, token, _ := strings.Cut(feed, "/f/")
	read := func() (int, string) { return get(t, server.URL+"/f/"+token+"/warning.cap") }
	overflow := func(key string, at time.Time, chance float64, lead time.Duration) string {
		decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: key, Until: at.Add(12 * time.Hour),
			Facts: alerts.Facts{GroupID: "pails", Group: "Pails", Chance: chance, Due: at.Add(lead)}}
		if _, err := d.Ledger.Record(t.Context(), decision, []ledger.Recipient{{Person: "ann", Words: "pails run over"}}, at); err != nil {
			t.Fatal(err)
		}
		list, err := d.Ledger.Told(t.Context(), "bush", []alerts.Kind{alerts.Overflow}, 1)
		if err != nil {
			t.Fatal(err)
		}
		return list[0].DecisionID
	}
	must := func(what string, wants ...string) {
		t.Helper()
		status, text := read()
		for _, want := range wants {
			if status != 200 || !strings.Contains(text, want) {
				t.Errorf("%s: %d, no %s in\n%s", what, status, want, text)
			}
		}
	}
	first := overflow("pails:week-1", now, 0.5, 20*time.Hour)
	must("no more than possible, tomorrow", "<msgType>Alert<", "<certainty>Possible<", "<urgency>Future<")
	later := now.Add(time.Hour)
	moment = later
	second := overflow("pails:week-2", later, 0.9, 30*time.Minute)
	must("likely, soon", "<msgType>Update<", "<references>thawline@thawline.invalid,"+first+",2026-03-09T11:00:00-04:00</references>",
		"<identifier>"+second+"<", "<certainty>Likely<", "<urgency>Immediate<")

	// Somebody goes round.
	visited := later.Add(30 * time.Minute)
	moment = visited.Add(time.Minute)
	o := &forecast.Outlook{Site: "bush", IssuedAt: moment}
	o.Work.Groups = []forecast.GroupWork{{Group: "pails", SinceVisit: &visited}}
	d.shelf.put(o, time.Now())
	must("called off", "<msgType>Cancel<", "<references>thawline@thawline.invalid,"+second+",2026-03-09T12:00:00-04:00</references>",
		"<sent>2026-03-09T12:30:00-04:00<")
	if _, text := read(); strings.Contains(text, "run over") {
		t.Errorf("what is called off is still said: %s", text)
	}
	tells(t, d, alerts.Danger, "danger:1", site.ID, moment)
	must("another one after it", "<msgType>Alert<", "danger in")
	moment = moment.Add(24 * time.Hour)
	if status, text := read(); status != http.StatusNotFound {
		t.Errorf("a day later: %d %s", status, text)
	}
}
