package daemon

import (
	"context"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/testdata/beside"
)

// promptness notes how long after they were decided messages went.
type promptness struct {
	recorder
	mu    sync.Mutex
	after []time.Duration
}

func (r *promptness) Send(ctx context.Context, m channel.Message) (string, error) {
	r.mu.Lock()
	r.after = append(r.after, time.Since(m.MadeAt))
	r.mu.Unlock()
	return r.recorder.Send(ctx, m)
}

// A daemon alone sends as soon as all that is due at a moment is decided, and what is told
// at one moment still goes together: to the byte what steps tell. Daemons that share a
// database wait for each other.
func TestTextsWaitOnlyForWhatMayStillBeDecided(t *testing.T) {
	site, truth := kettle(t)
	of := func(box channel.Channel) Settings {
		return settings(site, &oracle{truth: truth, place: site.Place}, map[string]channel.Channel{"text": box})
	}
	begin := time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
	end := begin.AddDate(0, 0, 2)
	box := &recorder{}
	through(started(t, filepath.Join(t.TempDir(), "steps.db"), of(box), begin), begin, end)
	want := heard(box)
	if len(want) == 0 {
		t.Fatal("nobody was told anything")
	}
	for i := range box.got {
		if len(box.got[i].Kinds) > 1 {
			break
		}
		if i == len(box.got)-1 {
			t.Fatal("nothing goes together: these days don't show it")
		}
	}
	lived := func(where string) *promptness {
		box := &promptness{}
		synctest.Test(t, func(t *testing.T) { live(t, where, false, of(box), begin, end) })
		if d := cmp.Diff(want, heard(&box.recorder)); d != "" {
			t.Errorf("another thing is told than in steps:\n%s", d)
		}
		return box
	}
	const soon = 100 * time.Millisecond
	for i, after := range lived(filepath.Join(t.TempDir(), "alone.db")).after {
		if after > soon {
			t.Errorf("message %d went %s after it was decided", i, after)
		}
	}
	where := beside.Postgres(t)
	if where == "" {
		t.Log("THAWLINE_TEST_POSTGRES names no database: that daemons that share one wait is not looked at")
		return
	}
	for i, after := range lived(where).after {
		if after < ledger.JoinWithin {
			t.Errorf("message %d went %s after it was decided: another daemon may have had something for it", i, after)
		}
	}
}
