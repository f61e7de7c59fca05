package feed

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"

	"thawline/alerts"
)

var at = time.Date(2026, 3, 20, 22, 30, 0, 0, time.UTC)

// Read back by another parser than the one that wrote it (go-ical).
func TestCalendarIsReadByAnotherParser(t *testing.T) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	day := time.Date(2026, 3, 21, 0, 0, 0, 0, zone)
	text := Calendar("Kettle; Ridge, \\x", []Entry{
		{UID: UID("kettle", "run", "2026-03-21"), Sequence: 3, Changed: at, Start: day, End: day.AddDate(0, 0, 1), AllDay: true,
			Summary: "Sap; may, run\nà \\ 60 %", Text: strings.Repeat("long ", 40)},
		{UID: UID("kettle", "round1", "2026-03-21"), Sequence: 1, Changed: at, Start: day.Add(15 * time.Hour),
			End: day.Add(17 * time.Hour), Summary: "go round", Text: "Ridge pails (Ana)", CalledOff: true},
	})
	c, err := ical.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	events := c.Events()
	if len(events) != 2 {
		t.Fatalf("%d events", len(events))
	}
	summary, err := events[0].Props.Text(ical.PropSummary)
	start, err2 := events[0].DateTimeStart(zone)
	if err != nil || err2 != nil || summary != "Sap; may, run\nà \\ 60 %" || !start.Equal(day) {
		t.Errorf("%v %v %q %s", err, err2, summary, start)
	}
	if s := events[0].Props.Get(ical.PropSequence); s == nil || s.Value != "3" {
		t.Errorf("%v", s)
	}
	status, err := events[1].Status()
	start, err2 = events[1].DateTimeStart(zone)
	if err != nil || err2 != nil || status != ical.EventCancelled || !start.Equal(day.Add(15*time.Hour)) {
		t.Errorf("%v %v %s %s", err, err2, status, start)
	}
	if what := events[1].Props.Get(ical.PropDescription); what != nil { // its groups may be pulled
		t.Errorf("of an entry that is off it says %q", what.Value)
	}
	for _, line := range strings.Split(text, "\r\n") {
		if len(line) > 75 { // RFC 5545, 3.1
			t.Errorf("a line of %d octets", len(line))
		}
	}
}

func TestCAPFollowsItsSchema(t *testing.T) {
	body, err := CAP(&Warning{ID: "0195-abc", Sender: "thawline@thawline.invalid", Sent: at, Expires: at.Add(12 * time.Hour),
		Event: "danger", Headline: "Strong wind <tomorrow> & limbs", Description: "d", Language: "en-US",
		Class:    alerts.Warning{Category: "Safety", Urgency: "Expected", Severity: "Moderate", Certainty: "Likely"},
		AreaName: "Upper Ridge", LatitudeDeg: 44.62, LongitudeDeg: -72.31})
	if err != nil {
		t.Fatal(err)
	}
	xmllint, err := exec.LookPath("xmllint")
	if err != nil {
		t.Skip("xmllint is not installed: not checked against the schema")
	}
	file := filepath.Join(t.TempDir(), "w.xml")
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(xmllint, "--noout", "--schema", "testdata/cap12.xsd", file).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s\n%s", err, out, body)
	}
	for kind, info := range map[string]bool{Update: true, Cancel: false} {
		later, err := CAP(&Warning{ID: "0195-abd", Kind: kind,
			References: []Reference{{"0195-abc", at}, {"0195-abb", at.Add(-time.Hour)}}, Sender: "thawline@thawline.invalid", Sent: at,
			Expires: at, Event: "danger", Language: "en-US",
			Class:    alerts.Warning{Category: "Safety", Urgency: "Expected", Severity: "Moderate", Certainty: "Likely"},
			AreaName: "Upper Ridge"})
		if err != nil {
			t.Fatal(err)
		}
		const refers = "<references>thawline@thawline.invalid,0195-abc,2026-03-20T22:30:00+00:00 thawline@thawline.invalid,0195-abb,2026-03-20T21:30:00+00:00</references>"
		if !strings.Contains(string(later), refers) || strings.Contains(string(later), "<info>") != info {
			t.Errorf("%s: %s", kind, later)
		}
		if err := os.WriteFile(file, later, 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(xmllint, "--noout", "--schema", "testdata/cap12.xsd", file).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s\n%s", kind, err, out, later)
		}
	}
	broken := strings.Replace(string(body), "<status>Actual</status>", "", 1)
	if err := os.WriteFile(file, []byte(broken), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := exec.Command(xmllint, "--noout", "--schema", "testdata/cap12.xsd", file).Run(); err == nil {
		t.Error("the schema passes an alert without status")
	}
}

// Read back by feedparser, a program of others': names and texts come out as they went in,
// as plain text, and links lead to the feed itself and to pages.
func TestAtomIsReadByFeedparser(t *testing.T) {
	const name = `<Upper> & "Lower"`
	list := []News{{ID: "0195abcd-0000-7000-8000-000000000002", At: at.Add(time.Hour), Title: name + ": Sap <b>runs</b> & more",
		Text: "Sap runs.\n<script>alert(1)</script> &amp; 3 < 4", Page: "https://bush.example.org/site/kettle/#2"},
		{ID: "0195abcd-0000-7000-8000-000000000001", At: at, Title: "Ça va couler", Text: "à 60 %"}}
	text, err := Atom(&Channel{ID: "urn:thawline:kettle", Name: name, Self: "https://bush.example.org/f/k3y/news.atom",
		Page: "https://bush.example.org/site/kettle/"}, list)
	if err != nil {
		t.Fatal(err)
	}
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import feedparser").Run() != nil {
		t.Skip("feedparser is not installed: the Atom feed is not read back by it")
	}
	cmd := exec.Command(python, "-c", `
import feedparser, json, sys
f = feedparser.parse(sys.stdin.buffer.read())
print(json.dumps({"bozo": bool(f.bozo), "version": f.version, "id": f.feed.id, "title": f.feed.title, "kind": f.feed.title_detail.type, "updated": f.feed.updated, "links": {l.rel: l.href for l in f.feed.links},
  "entries": [{"id": e.id, "title": e.title, "kind": e.title_detail.type, "text": e.content[0].value, "as": e.content[0].type, "link": e.link, "updated": e.updated} for e in f.entries]}))`)
	cmd.Stdin = strings.NewReader(text)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	type entry struct{ ID, Title, Kind, Text, As, Link, Updated string }
	var got struct {
		Bozo                              bool
		Version, ID, Title, Kind, Updated string
		Links                             map[string]string
		Entries                           []entry
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if got.Bozo || got.Version != "atom10" || got.ID != "urn:thawline:kettle" || got.Title != name || got.Kind != "text/plain" ||
		got.Updated != "2026-03-20T23:30:00Z" || got.Links["self"] != "https://bush.example.org/f/k3y/news.atom" ||
		got.Links["alternate"] != "https://bush.example.org/site/kettle/" {
		t.Errorf("the feed: %+v", got)
	}
	want := []entry{{"urn:uuid:" + list[0].ID, list[0].Title, "text/plain", list[0].Text, "text/plain", list[0].Page,
		"2026-03-20T23:30:00Z"},
		{"urn:uuid:" + list[1].ID, list[1].Title, "text/plain", list[1].Text, "text/plain", "https://bush.example.org/site/kettle/",
			"2026-03-20T22:30:00Z"}}
	if !slices.Equal(got.Entries, want) {
		t.Errorf("got  %+v\nwant %+v", got.Entries, want)
	}
}
