package daemon

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
)

// fillDisk lets no decision be written until there is room again.
func fillDisk(t *testing.T, d *Daemon) (makeRoom func()) {
	t.Helper()
	do := func(statement string) {
		if _, err := d.Archive.DB().ExecContext(context.Background(), statement); err != nil {
			t.Fatal(err)
		}
	}
	do("CREATE TRIGGER full BEFORE INSERT ON decision BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END")
	return func() { do("DROP TRIGGER full") }
}

// overflowing is an overflow of the first bush, and what records it at a moment.
func overflowing(d *Daemon, now time.Time) (decision alerts.Decision, record func(now time.Time) error) {
	decision = alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: now.Add(6 * time.Hour), Urgent: true}
	return decision, func(now time.Time) error {
		return d.record(context.Background(), &d.settings.Sites[0], decision, now,
			func(*message.Words) string { return "South pails will run over." })
	}
}

// What is told without being recorded reaches some: whom the gateway refused it for, or who
// sleeps, hears of it once the disk has room again, and nobody hears twice.
func TestWhoWasNotToldOnAFullDiskIsToldLater(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	ctx := context.Background()
	d, box := crewAndKeepers(t, now, func(s *Settings) {
		s.Link = ""
		s.People[2].Quiet = channel.Quiet{From: 10 * time.Hour, To: 12 * time.Hour}
	})
	bob := true // is refused
	box.fail = func(m channel.Message) error {
		if bob && m.To == "bob" {
			return errors.New("no connection")
		}
		return nil
	}
	_, record := overflowing(d, now)
	makeRoom := fillDisk(t, d)
	for range 25 {
		if record(now) == nil {
			t.Fatal("a full disk took a decision")
		}
		now = now.Add(time.Minute)
	}
	if got := box.said(); strings.Count(got, "ann: ") != 1 || strings.Contains(got, "bob: ") {
		t.Errorf("on a full disk: %s", got)
	}
	makeRoom()
	bob = false
	if err := record(now); err != nil {
		t.Fatal(err)
	}
	for range 12 {
		d.deliver(ctx, now)
		now = now.Add(15 * time.Minute)
	}
	for _, who := range []string{"ann", "bob", "cy"} {
		if got := box.said(); strings.Count(got, who+": South pails will run over.") != 1 {
			t.Errorf("%s is not told once: %s", who, got)
		}
	}
}

// A gateway that asks to be left alone while the disk is full is left alone also once the
// disk has room again.
func TestFullDiskLeavesTheGatewayAlone(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, box := crewAndKeepers(t, now, func(s *Settings) { s.Link = "" })
	asked := time.Time{}
	box.fail = func(m channel.Message) error {
		switch {
		case m.To != "bob":
		case asked.IsZero():
			asked = now
			return &channel.Refusal{Said: "later", Wait: 20 * time.Minute}
		case now.Before(asked.Add(20 * time.Minute)):
			t.Errorf("asked for rest at %s, and pressed at %s", asked.Format(time.TimeOnly), now.Format(time.TimeOnly))
		}
		return nil
	}
	_, record := overflowing(d, now)
	makeRoom := fillDisk(t, d)
	for asked.IsZero() && now.Hour() < 17 {
		if record(now) == nil {
			t.Fatal("a full disk took a decision")
		}
		now = now.Add(time.Minute)
	}
	makeRoom()
	if err := record(now); err != nil {
		t.Fatal(err)
	}
	for range 30 {
		d.deliver(context.Background(), now)
		now = now.Add(time.Minute)
	}
	if got := box.said(); strings.Count(got, "bob: South pails will run over.") != 1 {
		t.Errorf("bob is not told once: %s", got)
	}
}

// What is urgent is told to the crew, and to keepers where the crew does not answer: the one
// helper who wants no messages any more, or is gone, before it was sent leaves it to them.
func TestAnUrgentMessageOutlivesItsOnlyHelper(t *testing.T) {
	for name, leave := range map[string]func(*testing.T, *Daemon, time.Time){
		"stopped": func(t *testing.T, d *Daemon, now time.Time) {
			if err := d.Ledger.SetStopped(t.Context(), "ann", true, now); err != nil {
				t.Fatal(err)
			}
		},
		"away": func(t *testing.T, d *Daemon, now time.Time) {
			if err := d.Ledger.SetPaused(t.Context(), "ann", now.AddDate(0, 0, 2)); err != nil {
				t.Fatal(err)
			}
		},
		"gone": func(t *testing.T, d *Daemon, now time.Time) {
			s := d.settings
			s.People = s.People[1:]
			if err := d.Use(s, now); err != nil {
				t.Fatal(err)
			}
		},
	} {
		now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
		d, box := crewAndKeepers(t, now, nil)
		overflows(t, d, now)
		leave(t, d, now)
		for range 4 {
			d.deliver(t.Context(), now)
			d.escalate(t.Context(), now)
			now = now.Add(20 * time.Minute)
		}
		got := box.said()
		if strings.Contains(got, "ann: ") {
			t.Errorf("%s: told all the same: %s", name, got)
		}
		for _, who := range []string{"bob", "cy"} {
			if strings.Count(got, who+": ") != 1 || !strings.Contains(got, "South pails will run over.") {
				t.Errorf("%s: %s has not heard once: %s", name, who, got)
			}
		}
	}
}

// What a gateway took while nothing could be recorded, without saying so, goes out again
// under the same key by whichever daemon records it later, and nobody else can tell the key.
func TestWhatWasTriedKeepsItsKey(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	ctx := t.Context()
	d, box := crewAndKeepers(t, now, nil)
	if _, err := d.Ledger.Key(ctx); err != nil { // which the disk held before it was full
		t.Fatal(err)
	}
	keys := map[string]map[string]bool{}
	lost := true
	box.fail = func(m channel.Message) error {
		if keys[m.Person] == nil {
			keys[m.Person] = map[string]bool{}
		}
		keys[m.Person][m.Key] = true
		if lost {
			return errors.New("no answer")
		}
		return nil
	}
	decision, record := overflowing(d, now)
	makeRoom := fillDisk(t, d)
	for range 12 {
		if record(now) == nil {
			t.Fatal("a full disk took a decision")
		}
		now = now.Add(time.Minute)
	}
	if len(keys["ann"]) != 1 {
		t.Fatalf("tried on a full disk: %v", keys)
	}
	d.unrecorded = nil // as after the daemon was killed
	makeRoom()
	lost = false
	if err := record(now); err != nil {
		t.Fatal(err)
	}
	for range 12 {
		d.deliver(ctx, now)
		now = now.Add(15 * time.Minute)
	}
	if got := box.said(); strings.Count(got, "ann: South pails will run over.") != 1 || len(keys["ann"]) != 1 {
		t.Errorf("%v: %s", keys, got)
	}
	own := must[string](t)(ledger.New(d.Archive.DB()).MessageID(ctx, "bush", "ann", decision.Key))
	if !keys["ann"][own] || own == must[string](t)(d.Ledger.MessageID(ctx, "bush", "bob", decision.Key)) ||
		own == must[string](t)(d.Ledger.MessageID(ctx, "lake", "ann", decision.Key)) {
		t.Errorf("%v, and the key is %s", keys, own)
	}
	// A gateway that has taken the one must not take for said what else comes with it.
	more := must[string](t)(d.Ledger.MessageID(ctx, "bush", "ann", "evening:2026-03-09", decision.Key))
	if more == own || more != must[string](t)(d.Ledger.MessageID(ctx, "bush", "ann", decision.Key, "evening:2026-03-09")) {
		t.Errorf("%s, and with another decision %s", own, more)
	}
	other, _ := crewAndKeepers(t, now, nil)
	if own == must[string](t)(other.Ledger.MessageID(ctx, "bush", "ann", decision.Key)) {
		t.Error("two houses make the same key, so a stranger can")
	}
}
