package daemon

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/hooks"
)

// evening is a daemon one minute after its first evening text.
func evening(t *testing.T) (*Daemon, *recorder, *httptest.Server, *time.Time) {
	t.Helper()
	now := time.Date(2026, 3, 9, 22, 31, 0, 0, time.UTC)
	box := &recorder{}
	s := evenSettings("")
	s.Sites[0].Groups[0].Name = "South pails"
	s.Channels = map[string]channel.Channel{"text": box}
	for i := range s.People {
		s.People[i].Ways = []channel.Way{{Channel: "text", To: []string{"+18025550101", "+18025550102", "+18025550103"}[i]}}
	}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	d.Step(context.Background(), now)
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return now }))
	t.Cleanup(server.Close)
	return d, box, server, &now
}

// hooksOf are the hooks of a daemon.
func hooksOf(d *Daemon) *hooks.Hooks {
	return &hooks.Hooks{Daemon: d, Ledger: d.Ledger, Metrics: d.Metrics, Log: d.Log}
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	answer, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(data)
}

func TestFeeds(t *testing.T) {
	d, _, server, now := evening(t)
	ctx := context.Background()
	address, err := Address(ctx, d.Ledger, "feed", "bush")
	if err != nil {
		t.Fatal(err)
	}
	base := server.URL + "/f/" + address
	status, text := get(t, base+"/calendar.ics")
	c, err := ical.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil || status != 200 || len(c.Events()) < 3 {
		t.Fatalf("%d %v\n%s", status, err, text)
	}
	if status, text := get(t, base+"/news.atom"); status != 200 || !strings.Contains(text, "Bush: ") {
		t.Errorf("%d %s", status, text)
	}
	for _, wrong := range []string{"/f/" + strings.Repeat("0", 32) + "/calendar.ics", "/f//calendar.ics", "/in/" + address} {
		if status, _ := get(t, server.URL+wrong); status == 200 {
			t.Errorf("%s is open", wrong)
		}
	}
	// Warmth takes the runs out of the calendar: they are called off, with a higher
	// sequence and the same UID.
	entries, err := d.Ledger.Entries(ctx, "bush", *now)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Ledger.PutEntries(ctx, "bush", nil, *now); err != nil {
		t.Fatal(err)
	}
	_, text = get(t, base+"/calendar.ics")
	if strings.Count(text, "STATUS:CANCELLED") != len(entries) || strings.Count(text, "SEQUENCE:1") != len(entries) {
		t.Errorf("%d entries before\n%s", len(entries), text)
	}
	if err := d.Ledger.PutEntries(ctx, "bush", nil, now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, again := get(t, base+"/calendar.ics"); again != text {
		t.Error("an unchanged calendar changes")
	}
}

func TestReplies(t *testing.T) {
	d, box, server, now := evening(t)
	ctx := context.Background()
	address, err := Address(ctx, d.Ledger, "in", "bush")
	if err != nil {
		t.Fatal(err)
	}
	write := func(from, text, id string) string {
		t.Helper()
		before := len(box.got)
		*now = now.Add(time.Second)
		answer, err := http.PostForm(server.URL+"/in/"+address, url.Values{"From": {from}, "Body": {text}, "id": {id}})
		if err != nil || answer.StatusCode != http.StatusNoContent {
			t.Fatalf("%v %d", err, answer.StatusCode)
		}
		_ = answer.Body.Close()
		d.Step(ctx, *now)
		if len(box.got) == before {
			return ""
		}
		return box.got[len(box.got)-1].Text
	}
	for _, c := range []struct{ from, text, id, want string }{
		{"+1 802 555 0101", "40 gal 2.1", "1", "Noted: South pails 40 gallons at 2.1 %."},
		{"+18025550101", "40 gal 2.1", "1", ""}, // the same call-back again
		{"18025550102", "south pails not checked", "2", "Noted: no sap from South pails. Not checked: no figure, left to the next visit."},
		{"+18025550101", "4000 gal", "3",
			"4000 gallons from 50 taps is more than they can hold (198 gallons). Was it another unit, or several rounds? Nothing was written down."},
		{"+18025550101", "40 gal 11", "9",
			"11 % of sugar is more than sap has (1 to 5 %). Was it concentrate or syrup? Nothing was written down."},
		{"+18025550101", "hello", "4", "I did not understand \"hello\". Write it like: pails 40 gal 2.1. HELP says what else."},
		{"+15145550199", "40 gal", "5", ""}, // a stranger
		{"", "40 gal", "6", ""},
		{"+18025550103", "STOP", "7", "You get no more messages. Write START to get them again."},
	} {
		if got := write(c.from, c.text, c.id); got != c.want {
			t.Errorf("%s %q: %q, want %q", c.from, c.text, got, c.want)
		}
	}
	visits, err := d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC)
	if err != nil || len(visits) != 1 && len(visits) != 2 {
		t.Fatalf("%v %+v", err, visits)
	}
	found := false
	for _, v := range visits {
		found = found || v.BrixPct == 2.1 && v.RecordedBy == "ann"
	}
	if !found {
		t.Errorf("%+v", visits)
	}
	if said := write("+18025550102", "ok", "8"); said != "Noted: seen." {
		t.Errorf("an acknowledgement is answered with %q", said)
	}
	newest, err := d.Ledger.Newest(ctx, "bob")
	if err != nil || newest.AckedAt.IsZero() {
		t.Errorf("%v %+v", err, newest)
	}
	if stopped, err := d.Ledger.Stopped(ctx, "cy"); err != nil || !stopped {
		t.Errorf("%v %v", stopped, err)
	}
}

// An urgent message that the crew does not answer goes to the keeper after an
// hour, once; an answer ends it.
func TestEscalation(t *testing.T) {
	for _, answered := range []bool{false, true} {
		now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
		box := &recorder{}
		s := evenSettings("")
		s.Channels, s.Link = map[string]channel.Channel{"text": box}, "https://bush.example.org"
		s.People[0].Role = "crew"
		s.People = s.People[:2]
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
		ctx := context.Background()
		decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: now.Add(6 * time.Hour),
			Urgent: true}
		if err := d.record(ctx, &s.Sites[0], decision, now,
			func(*message.Words) string { return "South pails will run over." }); err != nil {
			t.Fatal(err)
		}
		for range 5 {
			d.escalate(ctx, now)
			d.deliver(ctx, now)
			if answered {
				v, err := d.Ledger.Newest(ctx, "ann")
				if err != nil {
					t.Fatal(err)
				}
				if err := d.Ledger.Acknowledge(ctx, v.ID, now); err != nil {
					t.Fatal(err)
				}
			}
			now = now.Add(31 * time.Minute)
		}
		var got []string
		for _, m := range box.got {
			got = append(got, m.To+": "+m.Text)
		}
		want := "ann: South pails will run over.|bob: ann has not answered: South pails will run over."
		if answered {
			want = "ann: South pails will run over."
		}
		if strings.Join(got, "|") != want {
			t.Errorf("answered %v: %v", answered, got)
		}
	}
}

// The wait for an answer is a third of the time that is left, so that keepers can still do
// something: no less than ten minutes, no more than an hour.
func TestEscalationFollowsTheDeadline(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for left, want := range map[time.Duration]time.Duration{6 * time.Hour: time.Hour, 90 * time.Minute: 30 * time.Minute,
		30 * time.Minute: 10 * time.Minute, 5 * time.Minute: 10 * time.Minute} {
		d, box := crewAndKeepers(t, now, nil)
		decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: now.Add(8 * time.Hour),
			Urgent: true, Facts: alerts.Facts{At: now.Add(left)}}
		if err := d.record(t.Context(), &d.settings.Sites[0], decision, now, func(*message.Words) string { return "w" }); err != nil {
			t.Fatal(err)
		}
		for at := now; at.Before(now.Add(2 * time.Hour)); at = at.Add(time.Minute) {
			d.deliver(t.Context(), at)
			d.escalate(t.Context(), at)
			if told := len(box.got) > 1; told != (at.Sub(now) > want) {
				t.Errorf("%s left: escalated %t after %s, want after %s", left, told, at.Sub(now), want)
				break
			}
		}
	}
}

// An urgent message that can't be delivered goes to the keeper at once, also where
// nobody has a way to acknowledge.
func TestWhatCannotBeDeliveredGoesToTheKeeper(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	box := &recorder{}
	s := evenSettings("")
	s.Channels = map[string]channel.Channel{"text": refusing{box, "ann"}}
	s.People[0].Role = "crew"
	s.People = s.People[:2]
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	ctx := context.Background()
	decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: now.Add(6 * time.Hour), Urgent: true}
	only := []ledger.Recipient{{Person: "ann", Words: "South pails will run over."}}
	if _, err := d.Ledger.Record(ctx, decision, only, now); err != nil {
		t.Fatal(err)
	}
	for range 5 {
		d.deliver(ctx, now)
		d.escalate(ctx, now)
		now = now.Add(time.Minute)
	}
	if len(box.got) != 1 || box.got[0].To != "bob" || box.got[0].Text != "ann could not be reached: South pails will run over." {
		t.Errorf("%+v", box.got)
	}
}

// refusing is a channel that has no way to one person.
type refusing struct {
	channel.Channel
	person string
}

func (r refusing) Send(ctx context.Context, m channel.Message) (string, error) {
	if m.To == r.person {
		return "", &channel.Refusal{Said: "no such number", Permanent: true}
	}
	return r.Channel.Send(ctx, m)
}

// The same way again after a growing wait, the next way once one refuses, and
// an end when the message is of no more use; each attempt stands in the ledger.
func TestRetriesAndFallBack(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		text, mail error
		state      ledger.State
		tries      string
	}{
		"at once": {nil, nil, ledger.Sent, "text accepted"},
		"refused, so by mail": {&channel.Refusal{Said: "no such number", Permanent: true}, nil, ledger.Sent,
			"text refused, mail accepted"},
		"down thrice, so by mail": {&channel.Refusal{Said: "busy"}, nil, ledger.Sent,
			"text later, text later, text later, mail accepted"},
		"asked to wait": {&channel.Refusal{Said: "429", Wait: 7 * time.Hour}, nil, ledger.Expired,
			"text later, none refused"},
		"both refuse": {&channel.Refusal{Said: "no", Permanent: true}, &channel.Refusal{Said: "no", Permanent: true},
			ledger.Failed, "text refused, mail refused"},
		"busy and refused": {&channel.Refusal{Said: "busy"}, &channel.Refusal{Said: "no", Permanent: true}, ledger.Expired,
			""},
		"a channel that panics is down": {errors.New("panic"), nil, ledger.Sent, "text later, text later, text later, mail accepted"},
	} {
		text, mail := &recorder{fail: func(channel.Message) error {
			if c.text != nil && c.text.Error() == "panic" {
				panic("oh")
			}
			return c.text
		}}, &recorder{fail: func(channel.Message) error { return c.mail }}
		s := evenSettings("")
		s.Channels = map[string]channel.Channel{"text": text, "mail": mail}
		s.People = s.People[:1]
		s.People[0].Ways = []channel.Way{{Channel: "text", To: "+18025550101"}, {Channel: "mail", To: "ann@example.org"}}
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
		ctx := context.Background()
		if err := d.record(ctx, &s.Sites[0],
			alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:1", Until: now.Add(6 * time.Hour)}, now,
			func(*message.Words) string { return "w" }); err != nil {
			t.Fatal(err)
		}
		for at := now; at.Before(now.Add(9 * time.Hour)); at = at.Add(30 * time.Second) {
			d.deliver(ctx, at)
		}
		list, err := d.Ledger.Recent(ctx, 5)
		if err != nil || len(list) != 1 || list[0].State != c.state {
			t.Fatalf("%s: %v %+v", name, err, list)
		}
		tries, err := d.Ledger.Attempts(ctx, list[0].ID)
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, a := range tries {
			said = append(said, a.Channel+" "+a.Outcome)
		}
		if c.tries != "" && strings.Join(said, ", ") != c.tries {
			t.Errorf("%s: %v, want %s", name, said, c.tries)
		}
	}
}

// One way that refuses is not asked again, and one that was only busy is, as long
// as the message is of use.
func TestBusyIsNoRefusal(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	busy, refused := true, 0
	text := &recorder{fail: func(channel.Message) error {
		if busy {
			return &channel.Refusal{Said: "busy"}
		}
		return nil
	}}
	mail := &recorder{fail: func(channel.Message) error {
		refused++
		return &channel.Refusal{Said: "no such mailbox", Permanent: true}
	}}
	s := evenSettings("")
	s.Channels = map[string]channel.Channel{"text": text, "mail": mail}
	s.People = s.People[:1]
	s.People[0].Ways = []channel.Way{{Channel: "text", To: "+18025550101"}, {Channel: "mail", To: "ann@example.org"}}
	d := started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	ctx := context.Background()
	if err := d.record(ctx, &s.Sites[0],
		alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:1", Until: now.Add(6 * time.Hour)}, now,
		func(*message.Words) string { return "w" }); err != nil {
		t.Fatal(err)
	}
	for at := now; at.Before(now.Add(5 * time.Hour)); at = at.Add(30 * time.Second) {
		busy = at.Before(now.Add(3 * time.Hour))
		d.deliver(ctx, at)
	}
	if len(text.got) != 1 || refused != 1 {
		t.Errorf("%d texts arrived, mail was asked %d times", len(text.got), refused)
	}
}
