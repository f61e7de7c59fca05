package daemon

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
)

// crewAndKeepers is a bush with ann on the crew, bob and cy as keepers, and
// messages that can be acknowledged.
func crewAndKeepers(t *testing.T, now time.Time, change func(*Settings)) (*Daemon, *recorder) {
	t.Helper()
	box := &recorder{}
	s := evenSettings("")
	s.Channels, s.Link = map[string]channel.Channel{"text": box}, "https://bush.example.org"
	s.People[0].Role = "crew"
	if change != nil {
		change(&s)
	}
	return started(t, filepath.Join(t.TempDir(), "d.db"), s, now), box
}

func overflows(t *testing.T, d *Daemon, now time.Time) {
	t.Helper()
	decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: now.Add(6 * time.Hour), Urgent: true}
	if err := d.record(context.Background(), &d.settings.Sites[0], decision, now,
		func(*message.Words) string { return "South pails will run over." }); err != nil {
		t.Fatal(err)
	}
}

func (r *recorder) said() string {
	var got []string
	for _, m := range r.got {
		got = append(got, m.To+": "+m.Text)
	}
	return strings.Join(got, "|")
}

// Whoever has stopped hears nothing more, not even that others did not answer, nor
// what was queued before; only the answer that they will hear no more.
func TestStopIsKept(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	ctx := context.Background()
	d, box := crewAndKeepers(t, now, nil)
	overflows(t, d, now)
	d.deliver(ctx, now)
	if err := d.Ledger.SetStopped(ctx, "bob", true, now); err != nil {
		t.Fatal(err)
	}
	now = now.Add(61 * time.Minute)
	d.escalate(ctx, now)
	d.deliver(ctx, now)
	if want := "ann: South pails will run over.|cy: ann has not answered: South pails will run over."; box.said() != want {
		t.Errorf("%s", box.said())
	}

	now = now.Add(time.Minute)
	decision := alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:1", Until: now.Add(6 * time.Hour)}
	if err := d.record(ctx, &d.settings.Sites[0], decision, now, func(*message.Words) string { return "queued" }); err != nil {
		t.Fatal(err)
	}
	box.got = nil
	if err := d.heard(ctx, &d.settings.Sites[0], &d.settings.People[0], "STOP", "1", now); err != nil {
		t.Fatal(err)
	}
	d.deliver(ctx, now)
	if got := box.said(); strings.Contains(got, "ann: queued") || !strings.Contains(got, "cy: queued") ||
		!strings.Contains(got, "ann: You get no more messages.") {
		t.Error(got)
	}
	list, err := d.Ledger.Recent(ctx, 100)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range list {
		if v.Kind == alerts.Evening && v.Person == "ann" && v.State != ledger.Expired {
			t.Errorf("%+v", v)
		}
	}
}

// Where all of the crew have stopped an urgent message goes to the keepers at once.
func TestKeepersHearForACrewThatStopped(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, box := crewAndKeepers(t, now, nil)
	if err := d.Ledger.SetStopped(context.Background(), "ann", true, now); err != nil {
		t.Fatal(err)
	}
	overflows(t, d, now)
	d.deliver(context.Background(), now)
	if got := box.said(); strings.Contains(got, "ann: ") || !strings.Contains(got, "bob: ") || !strings.Contains(got, "cy: ") {
		t.Error(got)
	}
}

// An escalation keeps to quiet hours, but for those who let urgent messages break
// them, and calls people by name.
func TestEscalationKeepsQuiet(t *testing.T) {
	now := time.Date(2026, 3, 10, 1, 0, 0, 0, time.UTC) // 9 pm
	ctx := context.Background()
	d, box := crewAndKeepers(t, now, func(s *Settings) {
		s.People[0].Name = "Ann Odell"
		s.People[1].Quiet = channel.Quiet{From: 21 * time.Hour, To: 2 * time.Hour}
		s.People[2].Quiet, s.People[2].BreaksQuiet = s.People[1].Quiet, true
	})
	overflows(t, d, now)
	d.deliver(ctx, now)
	now = now.Add(61 * time.Minute)
	d.escalate(ctx, now)
	d.deliver(ctx, now)
	before := "ann: South pails will run over.|cy: Ann Odell has not answered: South pails will run over."
	if box.said() != before {
		t.Error(box.said())
	}
	now = now.Add(4 * time.Hour)
	d.deliver(ctx, now)
	if box.said() != before+"|bob: Ann Odell has not answered: South pails will run over." {
		t.Error(box.said())
	}
}

// justAwake is the context of a daemon that was frozen: its time is over, and its timer has
// not said so yet.
type justAwake struct{ context.Context }

func (justAwake) Deadline() (time.Time, bool) { return time.Now().Add(-time.Millisecond), true }

// What a frozen daemon had taken it does not send when it wakes: others have sent it since.
func TestWhoWakesSendsNothing(t *testing.T) {
	d, box := crewAndKeepers(t, march, nil)
	v := &ledger.Delivery{ID: "one", Person: "ann", Kind: alerts.Evening, Words: "Sap will run."}
	way := channel.Way{Channel: "text", To: "+15550100"}
	if _, err := d.send(justAwake{t.Context()}, v, way, "Ann"); !errors.Is(err, context.DeadlineExceeded) || len(box.got) > 0 {
		t.Errorf("%v, sent %q", err, box.said())
	}
	if _, err := d.send(t.Context(), v, way, "Ann"); err != nil || len(box.got) != 1 {
		t.Errorf("%v, sent %q", err, box.said())
	}
}
