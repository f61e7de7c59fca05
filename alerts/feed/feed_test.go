package feed

import (
	"os"
	"os/exec"
	"path/filepath"
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
		{UID: UID("kettle", "run", "2026-03-21"), Sequence: 3, Changed: at, Start: day, End: day.AddDate(0, 0, 1), AllDay: true, Summary: "Sap; may, run\nà \\ 60 %", Text: strings.Repeat("long ", 40)},
		{UID: UID("kettle", "round1", "2026-03-21"), Sequence: 1, Changed: at, Start: day.Add(15 * time.Hour), End: day.Add(17 * time.Hour), Summary: "go round", CalledOff: true},
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
	for _, line := range strings.Split(text, "\r\n") {
		if len(line) > 75 { // RFC 5545, 3.1
			t.Errorf("a line of %d octets", len(line))
		}
	}
}

func TestCAPFollowsItsSchema(t *testing.T) {
	body, err := CAP(&Warning{ID: "0195-abc", Sender: "thawline@thawline.invalid", Sent: at, Expires: at.Add(12 * time.Hour), Event: "danger", Headline: "Strong wind <tomorrow> & limbs", Description: "d", Language: "en-US",
		Class: alerts.Warning{Category: "Safety", Urgency: "Expected", Severity: "Moderate", Certainty: "Likely"}, AreaName: "Upper Ridge", LatitudeDeg: 44.62, LongitudeDeg: -72.31})
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
	broken := strings.Replace(string(body), "<status>Actual</status>", "", 1)
	if err := os.WriteFile(file, []byte(broken), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := exec.Command(xmllint, "--noout", "--schema", "testdata/cap12.xsd", file).Run(); err == nil {
		t.Error("the schema passes an alert without status")
	}
}

func TestAtom(t *testing.T) {
	text, err := Atom("Kettle & Ridge", "urn:thawline:kettle", []News{{"0195", at, "Sap <runs>", "Sap runs"}})
	if err != nil || !strings.Contains(text, "<id>urn:uuid:0195</id>") || !strings.Contains(text, "Kettle &amp; Ridge") || !strings.Contains(text, "2026-03-20T22:30:00Z") {
		t.Errorf("%v\n%s", err, text)
	}
}
