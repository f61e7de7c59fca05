package feed

import (
	"encoding/xml"
	"strings"
	"testing"
	"unicode/utf8"

	ical "github.com/emersion/go-ical"

	"thawline/alerts"
)

// FuzzCalendar: whatever stands in a name or a text, another parser reads the same
// out of the calendar, no line is too long and none is added.
func FuzzCalendar(f *testing.F) {
	f.Add("Kettle; Ridge, \\x", "Sap; may, run\nà \\ 60 %")
	f.Add("x\r\nATTENDEE:mailto:a@example.org", "\x00\x01 \u2028 🍁")
	f.Fuzz(func(t *testing.T, name, text string) {
		body := Calendar(name, []Entry{{UID: UID("kettle", "run", "2026-03-21"), Changed: at, Start: at, End: at.AddDate(0, 0, 1),
			Summary: name, Text: text}})
		c, err := ical.NewDecoder(strings.NewReader(body)).Decode()
		if err != nil {
			t.Fatalf("%v\n%q", err, body)
		}
		events := c.Events()
		if len(events) != 1 || len(events[0].Props) != 10 {
			t.Fatalf("%d events, %v", len(events), events[0].Props)
		}
		for prop, want := range map[string]string{ical.PropSummary: name, ical.PropDescription: text} {
			got, err := events[0].Props.Text(prop)
			if err != nil || got != printable(want) {
				t.Errorf("%s: %q, want %q (%v)", prop, got, printable(want), err)
			}
		}
		for line := range strings.SplitSeq(body, "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
				t.Errorf("a line %q", line)
			}
		}
	})
}

// FuzzCAP: every text comes out of the XML as it went in, but for what XML can't
// hold.
func FuzzCAP(f *testing.F) {
	f.Add("Strong wind <tomorrow> & limbs", "]]> \x00 \ufffe")
	f.Fuzz(func(t *testing.T, headline, area string) {
		body, err := CAP(&Warning{ID: "0195-abc", Sender: "s@thawline.invalid", Sent: at, Expires: at, Event: "danger",
			Headline: headline, Description: headline, AreaName: area, Language: "en-US",
			Class: alerts.Warning{Category: "Safety", Urgency: "Expected", Severity: "Minor", Certainty: "Likely"}})
		if err != nil {
			t.Fatal(err)
		}
		var back struct {
			Info []struct {
				Headline string `xml:"headline"`
				Area     struct {
					Desc string `xml:"areaDesc"`
				} `xml:"area"`
			} `xml:"info"`
		}
		if err := xml.Unmarshal(body, &back); err != nil || len(back.Info) != 1 {
			t.Fatalf("%v\n%s", err, body)
		}
		if !utf8.Valid(body) {
			t.Errorf("not UTF-8: %q", body)
		}
		if got := back.Info[0].Headline; utf8.ValidString(headline) && printable(headline) == headline && got != headline {
			t.Errorf("%q, want %q", got, headline)
		}
	})
}
