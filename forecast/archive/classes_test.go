package archive

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	"thawline/forecast/records"
)

// Visits are booked once, listed from a day on, and taken back; guesses are kept without a
// name.
func TestClassesAreKept(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "classes.db"))
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	visit := records.ClassVisit{Site: "hill", Day: time.Date(2026, 3, 24, 0, 0, 0, 0, time.UTC), From: 9 * time.Hour,
		To: 11*time.Hour + 30*time.Minute, Learners: 20}
	first, outcome, err := a.PutClass(t.Context(), visit, "robin", now)
	if err != nil || outcome != Added || first.ID == "" {
		t.Fatalf("%+v %v %v", first, outcome, err)
	}
	if again, outcome, err := a.PutClass(t.Context(), visit, "robin", now); err != nil || outcome != Same || again.ID != first.ID {
		t.Errorf("%+v %v %v", again, outcome, err)
	}
	list, err := a.Classes(t.Context(), "hill", now, time.UTC)
	if err != nil || len(list) != 1 || list[0] != first {
		t.Errorf("%+v %v, want %+v", list, err, first)
	}
	if list, _ := a.Classes(t.Context(), "hill", visit.Day.AddDate(0, 0, 1), time.UTC); len(list) != 0 {
		t.Errorf("a visit that is over: %+v", list)
	}
	if err := a.RemoveClass(t.Context(), "other", first.ID); !errors.Is(err, ErrNoEntry) {
		t.Errorf("another site takes it back: %v", err)
	}
	if err := a.RemoveClass(t.Context(), "hill", first.ID); err != nil {
		t.Error(err)
	}
	if list, _ := a.Classes(t.Context(), "hill", now, time.UTC); len(list) != 0 {
		t.Errorf("taken back: %+v", list)
	}
	guess := records.ClassGuess{Site: "hill", Day: "2026-03-02", Yes: 12, No: 8, Ours: 0.4, Rule: true, At: now}
	if err := a.PutGuess(t.Context(), guess); err != nil {
		t.Fatal(err)
	}
	kept, err := a.Guesses(t.Context(), "hill", "2026-03-01")
	if err != nil || len(kept) != 1 || kept[0].Yes != 12 || !kept[0].Rule || kept[0].Ours != 0.4 || !kept[0].At.Equal(now) {
		t.Errorf("%+v %v", kept, err)
	}
	if kept, _ := a.Guesses(t.Context(), "hill", "2026-03-03"); len(kept) != 0 {
		t.Errorf("an earlier guess: %+v", kept)
	}
}
