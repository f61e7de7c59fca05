package daemon

import (
	"context"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/testdata/beside"
)

// counting counts the questions for weather.
type counting struct {
	waves
	n *atomic.Int64
}

func (c counting) Ask(ctx context.Context, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	c.n.Add(1)
	return c.waves.Ask(ctx, site, now)
}

// A daemon that only asks for weather decides nothing, one that only makes outlooks sends
// nothing, and one that only delivers sends what that decided and asks nobody.
func TestWorkOfOneKind(t *testing.T) {
	where := beside.Where(t, filepath.Join(t.TempDir(), "d.db"))
	if a, err := archive.Open(t.Context(), where); err != nil { // the form of the database, once
		t.Fatal(err)
	} else {
		_ = a.Close()
	}
	for _, c := range []struct {
		kind  string
		asked bool
		sent  int
	}{{Fetch, true, 0}, {Outlook, true, 0}, {Deliver, false, 1}} {
		asked, box := &atomic.Int64{}, &recorder{}
		s := many(1, map[string]channel.Channel{"text": box})
		s.Asker = counting{n: asked}
		d := sharing(t, where, c.kind, s, eveningIn2026.Add(-time.Minute))
		d.Work = []string{c.kind}
		d.Step(t.Context(), eveningIn2026)
		d.Remake(t.Context(), eveningIn2026)
		if (asked.Load() > 0) != c.asked || len(box.got) < c.sent || len(box.got) > 2*c.sent {
			t.Errorf("%s: asked %d times, %d messages", c.kind, asked.Load(), len(box.got))
		}
		if n, err := d.Ledger.Recent(t.Context(), 10); err != nil || (len(n) > 0) != (c.kind != Fetch) {
			t.Errorf("%s: %v %d", c.kind, err, len(n))
		}
	}
}
