package daemon

import (
	"bytes"
	"context"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/forecast"
)

// leaving is told to stop while it waits for weather.
type leaving struct{ stop context.CancelFunc }

func (l leaving) Ask(ctx context.Context, _ *forecast.Site, _ time.Time) (forecast.Inputs, error) {
	l.stop()
	return forecast.Inputs{}, ctx.Err()
}

// A program that ends in the middle of its evening text neither says that there is no
// weather nor calls it a fault: the text comes whole after the start.
func TestStoppedWhileAsking(t *testing.T) {
	evening := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	path := filepath.Join(t.TempDir(), "d.db")
	box := &recorder{}
	s := evenSettings("")
	s.People, s.Channels = s.People[:1], map[string]channel.Channel{"text": box}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	s.Asker = leaving{cancel}
	d := started(t, path, s, evening.Add(-time.Minute))
	var log bytes.Buffer
	d.Log = slog.New(slog.NewTextHandler(&log, nil))
	d.Step(ctx, evening)
	if said := log.String(); len(box.got) > 0 || strings.Contains(said, "level=ERROR") || !strings.Contains(said, "cut short") {
		t.Errorf("%v\n%s", box.got, said)
	}
	s.Asker = waves{}
	d = started(t, path, s, evening.Add(time.Minute))
	for now := evening.Add(time.Minute); now.Before(evening.Add(10 * time.Minute)); now = now.Add(time.Minute) {
		d.Step(t.Context(), now)
	}
	if box.evenings() != 1 {
		t.Errorf("%d evening texts", box.evenings())
	}
	for i := range box.got { // they are sent side by side, in any order
		if m := &box.got[i]; m.Says(alerts.Evening) && !strings.Contains(m.Text, "gallons") || m.Says(alerts.NoForecast) {
			t.Errorf("%s: %s", m.Kind, m.Text)
		}
	}
}
