package daemon

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
)

// together are what one look decides: an evening text, an overflow and the season's end.
func together(now time.Time) []telling {
	var out []telling
	for _, c := range []struct {
		kind  alerts.Kind
		words string
	}{{alerts.Evening, "Bush: Sap will run tomorrow. Weather 2 hours old."},
		{alerts.Overflow, "Bush: South pails will run over. Gather by Tuesday noon. Weather 2 hours old."},
		{alerts.EndNear, "Bush: The end comes near. Weather 2 hours old."}} {
		decision := alerts.Decision{Kind: c.kind, Site: "bush", Key: string(c.kind) + ":1", Until: now.Add(6 * time.Hour),
			Urgent: c.kind.Urgent(), Facts: alerts.Facts{At: now.Add(3 * time.Hour)}}
		out = append(out, telling{decision, func(*message.Words) string { return c.words }})
	}
	return out
}

// What comes in the same minute is one message to each person, the urgent part first, each
// thing once, and everything in it is told for good.
func TestWhatComesTogetherIsOneMessage(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 30, 0, 0, time.UTC)
	ctx := t.Context()
	d, box := crewAndKeepers(t, now, func(s *Settings) { s.People[1].Role = "viewer" })
	for range 2 {
		if err := d.recordAll(ctx, &d.settings.Sites[0], together(now), now); err != nil {
			t.Fatal(err)
		}
		d.deliver(ctx, now)
	}
	got := strings.Split(box.said(), "|")
	slices.Sort(got)
	want := []string{ // cy, a keeper, hears of the overflow only if ann, who gathers, does not answer
		"ann: Bush: South pails will run over. Gather by Tuesday noon.\nSap will run tomorrow.\nThe end comes near. Weather 2 hours old.",
		"bob: Bush: Sap will run tomorrow. Weather 2 hours old.",
		"cy: Bush: Sap will run tomorrow.\nThe end comes near. Weather 2 hours old.",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	for _, m := range box.got {
		if m.Person == "ann" && (!m.Urgent || m.Kind != alerts.Overflow ||
			!slices.Equal(m.Kinds, []alerts.Kind{alerts.Overflow, alerts.Evening, alerts.EndNear})) {
			t.Errorf("ann's is %s, urgent %t, of %v", m.Kind, m.Urgent, m.Kinds)
		}
	}
	list, err := d.Ledger.Recent(ctx, 20)
	if err != nil || len(list) != 6 {
		t.Fatalf("%v, %d deliveries", err, len(list))
	}
	for _, v := range list {
		if tries, err := d.Ledger.Attempts(ctx, v.ID); v.State != ledger.Sent || err != nil || len(tries) != 1 {
			t.Errorf("%s to %s is %s, %d tries, %v", v.Kind, v.Person, v.State, len(tries), err)
		}
	}
}

// An answer to a joint message answers all of it; without one its urgent part goes on to
// the keepers, and nothing else.
func TestAJointMessageIsAnsweredAndEscalated(t *testing.T) {
	for _, answered := range []bool{false, true} {
		now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
		ctx := t.Context()
		d, box := crewAndKeepers(t, now, nil)
		if err := d.recordAll(ctx, &d.settings.Sites[0], together(now), now); err != nil {
			t.Fatal(err)
		}
		d.deliver(ctx, now)
		before := len(box.got)
		if answered {
			v, err := d.Ledger.Newest(ctx, "ann")
			if err != nil {
				t.Fatal(err)
			}
			if err := d.Ledger.Acknowledge(ctx, v.ID, now); err != nil {
				t.Fatal(err)
			}
		}
		for range 3 {
			now = now.Add(31 * time.Minute)
			d.escalate(ctx, now)
			d.deliver(ctx, now)
		}
		list, err := d.Ledger.Recent(ctx, 20)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range list {
			if v.Person == "ann" && v.AckedAt.IsZero() == answered || v.Person == "bob" && !v.AckedAt.IsZero() {
				t.Errorf("%s to %s was seen at %s", v.Kind, v.Person, v.AckedAt)
			}
		}
		var more []string
		for _, m := range box.got[before:] {
			more = append(more, m.To+": "+m.Text)
		}
		slices.Sort(more)
		said := "ann has not answered: Bush: South pails will run over. Gather by Tuesday noon. Weather 2 hours old."
		if want := []string{"bob: " + said, "cy: " + said}; !answered && !slices.Equal(more, want) || answered && len(more) > 0 {
			t.Errorf("answered %t: %q", answered, more)
		}
	}
}

// What waits for the end of quiet hours is one message in the morning, whenever in the night
// it was decided.
func TestTheNightsMessagesAreOne(t *testing.T) {
	late := time.Date(2026, 3, 10, 1, 30, 0, 0, time.UTC) // half past nine at home
	ctx := t.Context()
	d, box := crewAndKeepers(t, late, func(s *Settings) {
		s.People = s.People[:1]
		s.People[0].Quiet = channel.Quiet{From: 21 * time.Hour, To: 6 * time.Hour}
	})
	for i, one := range together(late.Add(5 * time.Hour)) {
		if err := d.recordAll(ctx, &d.settings.Sites[0], []telling{one}, late.Add(time.Duration(i)*time.Hour)); err != nil {
			t.Fatal(err)
		}
		d.deliver(ctx, late.Add(time.Duration(i)*time.Hour))
	}
	for _, m := range []time.Duration{0, 1, 2} {
		d.deliver(ctx, late.Add(8*time.Hour+m*time.Minute+30*time.Minute))
	}
	if len(box.got) != 1 || strings.Count(box.got[0].Text, "\n") != 2 {
		t.Errorf("%s", box.said())
	}
}

// What is of no more use is left out of the message, and what went with one that is of no
// more use goes by itself: nothing is lost, nothing comes twice.
func TestPartsOfAJointMessageExpireByThemselves(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	ctx := context.Background()
	down := true
	d, box := crewAndKeepers(t, now, func(s *Settings) { s.People = s.People[:1] })
	box.fail = func(channel.Message) error {
		if down {
			return &channel.Refusal{Said: "busy"}
		}
		return nil
	}
	all := together(now)
	all[0].decision.Until = now.Add(time.Hour)
	if err := d.recordAll(ctx, &d.settings.Sites[0], all, now); err != nil {
		t.Fatal(err)
	}
	for at := now; at.Before(now.Add(5 * time.Hour)); at = at.Add(10 * time.Minute) {
		down = at.Before(now.Add(2 * time.Hour))
		d.deliver(ctx, at)
	}
	if got := box.said(); got != "ann: Bush: South pails will run over. Gather by Tuesday noon.\nThe end comes near. Weather 2 hours old." {
		t.Error(got)
	}
	list, err := d.Ledger.Recent(ctx, 10)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range list {
		if want := map[bool]ledger.State{true: ledger.Expired, false: ledger.Sent}[v.Kind == alerts.Evening]; v.State != want {
			t.Errorf("%s is %s, want %s", v.Kind, v.State, want)
		}
	}
}
