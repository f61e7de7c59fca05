package daemon

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/message"
)

// What is decided in somebody's quiet hours waits for their end, also what is urgent,
// but for those who let it break them.
func TestQuietHoursAreKept(t *testing.T) {
	for _, c := range []struct {
		name           string
		urgent, breaks bool
		atOnce         bool
	}{{"an ordinary message", false, false, false}, {"an urgent one", true, false, false},
		{"an urgent one that may break them", true, true, true}, {"an ordinary one to the same", false, true, false}} {
		box := &recorder{}
		s := evenSettings("")
		s.Channels = map[string]channel.Channel{"text": box}
		s.People = s.People[:1]
		s.People[0].Quiet, s.People[0].BreaksQuiet = channel.Quiet{From: 21 * time.Hour, To: 6 * time.Hour}, c.breaks
		zone := s.Sites[0].Zone
		late := time.Date(2026, 3, 9, 22, 0, 0, 0, zone)
		d := started(t, filepath.Join(t.TempDir(), "d.db"), s, late)
		ctx := context.Background()
		decision := alerts.Decision{Kind: alerts.Overflow, Site: "bush", Key: "overflow:pails:1", Until: late.Add(12 * time.Hour),
			Urgent: c.urgent}
		if err := d.record(ctx, &s.Sites[0], decision, late,
			func(*message.Words) string { return "South pails will run over." }); err != nil {
			t.Fatal(err)
		}
		for _, at := range []time.Time{late.Add(time.Minute), time.Date(2026, 3, 10, 5, 59, 0, 0, zone)} {
			d.deliver(ctx, at)
			if (len(box.got) > 0) != c.atOnce {
				t.Errorf("%s: %d texts at %s", c.name, len(box.got), at.Format("15:04"))
			}
		}
		d.deliver(ctx, time.Date(2026, 3, 10, 6, 1, 0, 0, zone))
		if len(box.got) != 1 {
			t.Errorf("%s: %d texts in the morning", c.name, len(box.got))
		}
	}
}
