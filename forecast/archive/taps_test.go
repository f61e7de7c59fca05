package archive

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
)

func pull(group string, day int) records.TapEvent {
	return records.TapEvent{Site: "hill", Group: group, Kind: records.Pulled, On: time.Date(2026, 4, day, 14, 30, 0, 0, time.UTC)}
}

// What is done to taps is kept as visits are: once, with its history, taken out and given
// back, as it was at a moment, and it counts as a change of the site's records.
func TestTapEventsAreKept(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "records.db"))
	ctx := t.Context()
	at := now.Add(time.Minute)
	onDay := pull("south", 9)
	onDay.OnDay(onDay.On, time.UTC)
	lists := func() string {
		t.Helper()
		stored, err := a.TapEvents(ctx, "hill", time.Time{}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		out := ""
		for _, s := range stored {
			out += s.Group + " " + string(s.Kind) + " " + s.On.Format("2 15:04 ")
			if s.DateOnly {
				out += "day "
			}
		}
		return out
	}
	puts, err := a.PutTaps(ctx, []records.TapEvent{pull("north", 8), onDay}, "wren", now)
	if err != nil || len(puts) != 2 || puts[0].Outcome != Added || puts[1].Outcome != Added {
		t.Fatal(err, puts)
	}
	const both = "north pulled 8 14:30 south pulled 9 16:00 day "
	if got := lists(); got != both {
		t.Errorf("%s", got)
	}
	changes := func() int64 {
		n, err := a.ChangesOf(ctx, "hill")
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	n := changes()
	if again, err := a.PutTaps(ctx, []records.TapEvent{pull("north", 8)}, "wren", at); err != nil || again[0].Outcome != Same ||
		again[0].ID != puts[0].ID || changes() != n || n != 2 {
		t.Errorf("%v %+v, %d changes", err, again, changes())
	}
	year := Span{now.AddDate(0, -6, 0), now.AddDate(0, 6, 0)}
	mark, err := a.SeasonMarks(ctx, "hill", "place", year)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.RemoveTap(ctx, puts[0].ID, "wren", at); err != nil {
		t.Fatal(err)
	}
	if later, err := a.SeasonMarks(ctx, "hill", "place", year); err != nil || later[0] == mark[0] || changes() != n+1 {
		t.Errorf("%v: the mark does not change: %s", err, later)
	}
	if err := a.RemoveTap(ctx, puts[0].ID, "wren", at); !errors.Is(err, ErrNoVisit) {
		t.Errorf("taken out twice: %v", err)
	}
	if got := lists(); got != "south pulled 9 16:00 day " {
		t.Errorf("%s", got)
	}
	if back, err := a.PutTaps(ctx, []records.TapEvent{pull("north", 8)}, "wren", at); err != nil || back[0].Outcome != BroughtBack ||
		lists() != both {
		t.Errorf("%v %+v %s", err, back, lists())
	}
	for _, want := range []string{"south pulled 9 16:00 day ", both, "south pulled 9 16:00 day ",
		both} { // each undo undoes the last change
		if err := a.UndoTap(ctx, puts[0].ID, "wren", at.Add(time.Minute)); err != nil || lists() != want {
			t.Errorf("%v %s", err, lists())
		}
	}
	if err := a.UndoTap(ctx, puts[1].ID, "wren", at); err != nil || lists() != "north pulled 8 14:30 " {
		t.Errorf("what was only written down is not undone: %v %s", err, lists())
	}
	if err := a.UndoTap(ctx, "none", "wren", at); !errors.Is(err, ErrNoVisit) {
		t.Errorf("%v", err)
	}
	if one, err := a.TapEvent(ctx, puts[1].ID, time.UTC); err != nil || !one.Removed || one.RecordedBy != "wren" {
		t.Errorf("%v %+v", err, one)
	}

	put(t, a, visit(3, 40))
	fresh := at.AddDate(0, 0, 1)
	if _, err := a.PutTaps(ctx, []records.TapEvent{pull("east", 11)}, "ida", fresh); err != nil {
		t.Fatal(err)
	}
	if n, err := a.UndoSince(ctx, "hill", fresh.Add(-time.Second), "ida", fresh.Add(time.Hour)); err != nil || n != 1 ||
		lists() != "north pulled 8 14:30 " {
		t.Errorf("%v: %d undone since then, %s", err, n, lists())
	}
	if n, err := a.UndoSince(ctx, "hill", now.Add(time.Second), "ida", fresh.Add(2*time.Hour)); err != nil || n != 1 || lists() != both {
		t.Errorf("%v: %d undone since the first, %s", err, n, lists())
	}
}

// Outlooks and the lessons of earlier seasons are made with what was done to the taps; a
// copy has it too.
func TestTapEventsReachOutlooksAndCopies(t *testing.T) {
	dir := t.TempDir()
	a := opened(t, filepath.Join(dir, "records.db"))
	last := pull("north", 8)
	last.On = last.On.AddDate(-1, 0, 0)
	if _, err := a.PutTaps(t.Context(), []records.TapEvent{pull("north", 8), last,
		{Site: "other", Group: "north", Kind: records.Pulled, On: now}}, "wren", now); err != nil {
		t.Fatal(err)
	}
	put(t, a, records.Visit{Site: "hill", Group: "north", CollectedAt: last.On, VolumeL: 4})
	winter := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC)
	if _, _, events, err := a.Kept(t.Context(), "hill", "p", winter, now); err != nil || len(events) != 1 ||
		!events[0].On.Equal(pull("north", 8).On) {
		t.Errorf("%v %+v", err, events)
	}
	var seasons []notebook.Season
	seasons, _, err := a.EarlierSeasons(t.Context(), "hill", "p", winter.AddDate(-3, 0, 0), winter)
	if err != nil || len(seasons) != 1 || len(seasons[0].Taps) != 1 || !seasons[0].Taps[0].On.Equal(last.On) {
		t.Errorf("%v %+v", err, seasons)
	}
	if a.Shared() {
		return // pg_dump makes its copies
	}
	if err := a.Backup(t.Context(), filepath.Join(dir, "copy.db")); err != nil {
		t.Fatal(err)
	}
	copied := opened(t, filepath.Join(dir, "copy.db"))
	if events, err := copied.TapEvents(t.Context(), "", time.Time{}, time.UTC); err != nil || len(events) != 3 {
		t.Errorf("%v %+v", err, events)
	}
	if moved, err := a.Move(t.Context(), opened(t, filepath.Join(dir, "other.db"))); err != nil || len(moved) != len(tables) {
		t.Errorf("%v %+v", err, moved)
	}
}
