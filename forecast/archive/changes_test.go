package archive

import (
	"context"
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
)

// Every write to a site's records is counted once and wakes whoever waits; what writes
// nothing, and other sites, are not.
func TestChangesAreCounted(t *testing.T) {
	a, err := Open(context.Background(), t.TempDir()+"/a.db")
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	ctx, now := context.Background(), time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	visit := records.Visit{Site: "hill", Group: "north", CollectedAt: now, VolumeL: 40, BrixPct: math.NaN()}
	count := func() int64 {
		t.Helper()
		all, err := a.Changes(ctx)
		if err != nil || all["other"] != 0 {
			t.Fatal(all, err)
		}
		return all["hill"]
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		select {
		case <-a.Written():
		default:
			t.Error("nobody was woken")
		}
	}
	if count() != 0 {
		t.Error("changes before the first record")
	}
	_, err = a.PutVisits(ctx, []records.Visit{visit}, "ann", now)
	must(err)
	stored, err := a.Visits(ctx, "hill", time.Time{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	id := stored[0].ID
	for i, write := range []func() error{
		func() error {
			v := visit
			v.VolumeL = 50
			_, err := a.Correct(ctx, odell(""), id, Any, v, now)
			return err
		},
		func() error { return a.Remove(ctx, id, Any, "ann", now) },
		func() error { return a.Undo(ctx, id, "ann", now) },
		func() error {
			v := visit
			v.Group = "south"
			_, err := a.PutEntry(ctx, odell("key"), []records.Visit{v}, asNew(v), now)
			return err
		},
		func() error { _, _, err := a.UndoEntry(ctx, "hill", 2, time.UTC, "ann", now); return err },
	} {
		must(write())
		if n := count(); n != int64(i)+2 {
			t.Errorf("%d changes after write %d", n, i+2)
		}
	}
	before := count()
	_, _ = a.PutEntry(ctx, odell("key"), []records.Visit{visit}, asNew(visit), now)
	if count() != before {
		t.Error("a key that came again counts as a change")
	}
}
