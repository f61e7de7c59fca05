package ledger_test

import (
	"path/filepath"
	"testing"
	"time"

	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/forecast/archive"
)

// An entry that changes rises in sequence, so that calendars take it (RFC 5545,
// 3.8.7.4); one that stays does not, and one that is not expected any more is called
// off with a higher one.
func TestSequenceRisesWithChanges(t *testing.T) {
	a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "c.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	l := ledger.New(a.DB())
	now := time.Date(2026, 3, 20, 18, 0, 0, 0, time.UTC)
	entry := func(summary string) feed.Entry {
		return feed.Entry{UID: "run-1", Start: now.AddDate(0, 0, 1), End: now.AddDate(0, 0, 2), Summary: summary}
	}
	for i, c := range []struct {
		expected  []feed.Entry
		sequence  int
		calledOff bool
	}{{[]feed.Entry{entry("60 %")}, 0, false}, {[]feed.Entry{entry("60 %")}, 0, false}, {[]feed.Entry{entry("80 %")}, 1, false},
		{nil, 2, true}, {[]feed.Entry{entry("70 %")}, 3, false}} {
		if err := l.PutEntries(t.Context(), "hill", c.expected, now); err != nil {
			t.Fatal(err)
		}
		got, err := l.Entries(t.Context(), "hill", now)
		if err != nil || len(got) != 1 || got[0].Sequence != c.sequence || got[0].CalledOff != c.calledOff {
			t.Errorf("step %d: %+v %v, want sequence %d", i, got, err, c.sequence)
		}
		now = now.Add(time.Hour)
	}
}
