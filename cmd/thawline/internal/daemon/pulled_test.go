package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
	"thawline/forecast/volume"
)

// house is a channel for people that machines are given documents by too.
type house struct {
	recorder
	documents []string
}

func (h *house) Publish(_ context.Context, _, _ string, documents map[string][]byte) error {
	for _, d := range documents {
		h.documents = append(h.documents, string(d))
	}
	return nil
}

// twoSlopes is the demonstration's bush with a second group, on the evening of a run.
func twoSlopes(t *testing.T) (d *Daemon, h *house, now time.Time) {
	t.Helper()
	site, truth := kettle(t)
	site.Groups = append(site.Groups, forecast.Group{ID: "hollow", Name: "Quaking", Taps: 40, Method: volume.Pail, ContainerL: 7.5,
		Tapped: site.Groups[0].Tapped})
	now = time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	h = &house{}
	d = started(t, filepath.Join(t.TempDir(), "pulled.db"),
		settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": h}), now)
	for day := 9; day >= 3; day -= 3 {
		at := now.AddDate(0, 0, -day)
		visits := []records.Visit{{Site: "kettle", Group: "ridge", CollectedAt: at, Taps: 60, VolumeL: 200, BrixPct: 2},
			{Site: "kettle", Group: "hollow", CollectedAt: at, Taps: 40, VolumeL: 120, BrixPct: 2.2}}
		if _, err := d.Archive.PutVisits(t.Context(), visits, "wren", now); err != nil {
			t.Fatal(err)
		}
	}
	d.Step(t.Context(), now)
	d.Remake(t.Context(), now)
	return d, h, now
}

func taps(t *testing.T, d *Daemon, group string, kind records.TapKind, on time.Time) {
	t.Helper()
	if _, err := d.Archive.PutTaps(t.Context(), []records.TapEvent{{Site: "kettle", Group: group, Kind: kind, On: on}}, "wren",
		on); err != nil {
		t.Fatal(err)
	}
	d.Remake(t.Context(), on)
}

// unlisted is an outlook without its lists of groups, in which the pulled are marked: they
// may be there and nowhere else.
func unlisted(o forecast.Outlook) forecast.Outlook {
	o.Bush.Groups = nil
	o.Work.Groups = slices.DeleteFunc(slices.Clone(o.Work.Groups), func(g forecast.GroupWork) bool {
		return cmp.Equal(g, forecast.GroupWork{Group: g.Group, Pulled: true, Decision: forecast.NoWork, Who: []string{}})
	})
	return o
}

// around is a text about the first naming of the hollow in it.
func around(text string) string {
	at := max(strings.Index(text, "hollow"), strings.Index(text, "Quaking"), 0)
	return text[max(at-200, 0):min(at+200, len(text))]
}

// surfaces are all that is said of an outlook, in both languages, but the lists of groups.
func surfaces(t *testing.T, d *Daemon, now time.Time) string {
	t.Helper()
	var b bytes.Buffer
	o := *d.Outlook(t.Context(), "kettle")
	bare := unlisted(o)
	for _, language := range []string{"en", "fr"} {
		w, err := message.NewWords(message.Reader{Language: language, Units: units.US})
		if err != nil {
			t.Fatal(err)
		}
		for _, print := range []error{sections.Print(&b, &o, w, units.US), sections.PrintRounds(&b, &o, w, units.US),
			sections.PrintFire(&b, &o, w, units.US), sections.PrintSeason(&b, &o, w, units.US)} {
			if print != nil {
				t.Fatal(print)
			}
		}
		doc, err := json.Marshal(sections.DocumentOf(&bare, w))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s\n%s\n", w.Evening(&o), doc)
	}
	for _, feed := range []string{"calendar.ics", "warning.cap"} {
		b.WriteString(feedOf(t, d, feed, now))
	}
	return b.String()
}

// feedOf is what programs read at the address of the kettle.
func feedOf(t *testing.T, d *Daemon, feed string, now time.Time) string {
	t.Helper()
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return now }))
	defer server.Close()
	address, err := Address(t.Context(), d.Ledger, "feed", "kettle")
	if err != nil {
		t.Fatal(err)
	}
	_, text := get(t, server.URL+"/f/"+address+"/"+feed)
	return text
}

func names(text string) bool {
	return strings.Contains(text, "hollow") || strings.Contains(text, "Quaking")
}

// Nothing is said of a group whose taps are pulled: not on any page, not in a text, a
// feed or a document, and what was on its way to people is not sent. Tapped again, it is
// told of as before.
func TestNothingIsSaidOfAPulledGroup(t *testing.T) {
	d, h, now := twoSlopes(t)
	if before := surfaces(t, d, now); !names(before) || !names(strings.Join(h.documents, "")) {
		t.Fatal("nothing is said of the hollow while its taps are in")
	}
	// Nobody has a link, so that only what can't be delivered goes on to the keepers.
	h.fail = func(channel.Message) error { return &channel.Refusal{Said: "no signal"} }
	key := "overflow:hollow:1"
	if since := d.Outlook(t.Context(), "kettle").Work.Group("hollow").SinceVisit; since != nil {
		key = "overflow:hollow:" + since.UTC().Format(time.RFC3339)
	}
	warning := alerts.Decision{Kind: alerts.Overflow, Site: "kettle", Key: key, Until: now.Add(48 * time.Hour), Urgent: true,
		Facts: alerts.Facts{Group: "Quaking", GroupID: "hollow"}}
	if err := d.record(t.Context(), d.sites["kettle"], warning, now.Add(time.Minute),
		func(*message.Words) string { return "Quaking will run over." }); err != nil {
		t.Fatal(err)
	}
	d.deliver(t.Context(), now.Add(time.Minute))
	for _, feed := range []string{"warning.cap", "news.atom"} {
		if !names(feedOf(t, d, feed, now.Add(time.Minute))) {
			t.Errorf("%s says nothing of the warning", feed)
		}
	}
	h.fail = nil
	h.documents, h.got = nil, nil

	at := now.Add(20 * time.Minute)
	taps(t, d, "hollow", records.Pulled, at)
	if text := surfaces(t, d, at) + feedOf(t, d, "news.atom", at); names(text) {
		t.Errorf("after the pull: … %s …", around(text))
	}
	if o := d.Outlook(t.Context(), "kettle"); o.Bush.Groups[0].Pulled || !o.Bush.Groups[1].Pulled || o.Work.In() != 1 ||
		o.Season.Closed != nil {
		t.Errorf("%+v", o.Bush)
	}
	through(d, at, at.AddDate(0, 0, 4))
	for _, m := range h.got {
		if names(m.Text) {
			t.Errorf("%s: %s", m.MadeAt, m.Text)
		}
	}
	if len(h.got) == 0 {
		t.Error("nothing at all was sent")
	}
	for _, document := range h.documents {
		var o forecast.Outlook
		if err := json.Unmarshal([]byte(document), &o); err != nil {
			t.Fatal(err)
		}
		if rest, err := json.Marshal(unlisted(o)); err != nil || names(string(rest)) {
			t.Errorf("%v: machines are given … %s …", err, around(string(rest)))
		}
	}
	if len(h.documents) < 2 {
		t.Error("machines are given nothing")
	}
	back := at.AddDate(0, 0, 4)
	taps(t, d, "hollow", records.Tapped, back)
	if text := surfaces(t, d, back); !names(text) {
		t.Error("tapped again and not told of")
	}
}

// A warning that nobody has answered goes no further once the taps of its group are
// pulled.
func TestWarningsOfPulledGroupsGoNoFurther(t *testing.T) {
	for _, pulled := range []bool{false, true} {
		now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
		d, box := crewAndKeepers(t, now, nil)
		site := &d.settings.Sites[0]
		name := site.Groups[0].ID
		decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: now.Add(6 * time.Hour),
			Urgent: true, Facts: alerts.Facts{Group: name, GroupID: name}}
		if err := d.record(t.Context(), site, decision, now, func(*message.Words) string { return name + " will run over." }); err != nil {
			t.Fatal(err)
		}
		d.deliver(t.Context(), now)
		if pulled {
			if _, err := d.Archive.PutTaps(t.Context(),
				[]records.TapEvent{{Site: "bush", Group: site.Groups[0].ID, Kind: records.Pulled, On: now.Add(30 * time.Minute)}},
				"ann", now.Add(30*time.Minute)); err != nil {
				t.Fatal(err)
			}
		}
		d.escalate(t.Context(), now.Add(61*time.Minute))
		d.deliver(t.Context(), now.Add(61*time.Minute))
		if goesOn := len(box.got) > 1; goesOn == pulled {
			t.Errorf("pulled %t: %s", pulled, box.said())
		}
	}
}

// Nobody is asked about a warning of a group whose taps are pulled, and a text that asks
// what hangs is not answered with it.
func TestNobodyIsAskedAboutAPulledGroup(t *testing.T) {
	for _, pulled := range []bool{false, true} {
		d, h, now := twoSlopes(t)
		due := time.Date(2026, 3, 21, 20, 0, 0, 0, time.UTC)
		key := "overflow:hollow:1"
		if since := d.Outlook(t.Context(), "kettle").Work.Group("hollow").SinceVisit; since != nil {
			key = "overflow:hollow:" + since.UTC().Format(time.RFC3339)
		}
		warning := alerts.Decision{Kind: alerts.Overflow, Site: "kettle", Key: key, Until: due.Add(3 * time.Hour), Urgent: true,
			Facts: alerts.Facts{Group: "Quaking", GroupID: "hollow", At: due, Due: due, Chance: 0.8}}
		if err := d.record(t.Context(), d.sites["kettle"], warning, now,
			func(*message.Words) string { return "Quaking will run over." }); err != nil {
			t.Fatal(err)
		}
		d.deliver(t.Context(), now)
		if pulled {
			taps(t, d, "hollow", records.Pulled, now.Add(time.Hour))
		}
		h.got = nil
		through(d, now.Add(2*time.Hour), now.AddDate(0, 0, 2).Add(2*time.Hour))
		asked := false
		for _, m := range h.got {
			asked = asked || m.Says(alerts.Question) && names(m.Text)
		}
		if asked == pulled {
			t.Errorf("pulled %t: asked %t", pulled, asked)
		}
		h.got = nil
		at := now.AddDate(0, 0, 2).Add(2 * time.Hour)
		if err := d.heard(t.Context(), d.sites["kettle"], d.byID["robin"], "where", "1", at); err != nil {
			t.Fatal(err)
		}
		d.deliver(t.Context(), at)
		if len(h.got) != 1 || names(h.got[0].Text) == pulled || !strings.Contains(h.got[0].Text, "ridge") {
			t.Errorf("pulled %t: %+v", pulled, h.got)
		}
	}
}

// A text that taps are pulled makes the outlook anew from the weather at hand, and one
// that takes it back gives the group back as it was.
func TestATextPullsAtOnce(t *testing.T) {
	d, h, now := twoSlopes(t)
	before := d.Outlook(t.Context(), "kettle").Work.Group("hollow")
	weather := d.Outlook(t.Context(), "kettle").Source.IssuedAt
	if before.Pulled || before.HeldL.P50 == 0 {
		t.Fatal("nothing hangs in the hollow")
	}
	for i, c := range []struct {
		text, answer string
		pulled       bool
	}{{"quaking pulled", "Noted: the taps of Quaking have been out since Friday 20 Mar.", true},
		{"undo", "Taken back: Quaking Fri 20 Mar: taps pulled.", false}} {
		at := now.Add(time.Duration(i+1) * time.Minute)
		h.got = nil
		if err := d.heard(t.Context(), d.sites["kettle"], d.byID["robin"], c.text, c.text, at); err != nil {
			t.Fatal(err)
		}
		d.deliver(t.Context(), at)
		if len(h.got) != 1 || h.got[0].Text != c.answer {
			t.Errorf("%q is answered with %d messages: %+v", c.text, len(h.got), h.got)
		}
		d.Remake(t.Context(), at)
		o := d.Outlook(t.Context(), "kettle")
		g := o.Work.Group("hollow")
		if !o.IssuedAt.Equal(at) || !o.Source.IssuedAt.Equal(weather) || g.Pulled != c.pulled || (g.HeldL.P50 == 0) != c.pulled ||
			(g.SinceVisit == nil) != c.pulled {
			t.Errorf("%q: made at %s of weather of %s, pulled %t, %.0f L hang", c.text, o.IssuedAt, o.Source.IssuedAt, g.Pulled,
				g.HeldL.P50)
		}
	}
}
