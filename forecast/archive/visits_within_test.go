package archive

import (
	"path/filepath"
	"testing"
	"time"
)

// Visits of a season are those of this site from its beginning until before its end, and
// none that was removed; the hours tell in which seasons there are any.
func TestVisitsWithin(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "within.db"))
	elsewhere := visit(5, 1)
	elsewhere.Site = "dale"
	p := put(t, a, visit(3, 1), visit(4, 2), visit(5, 3), visit(6, 4), elsewhere)
	if err := a.Remove(t.Context(), p[1].ID, Any, "test", now); err != nil {
		t.Fatal(err)
	}
	at := func(day int) time.Time { return time.Date(2026, 3, day, 16, 0, 0, 0, time.UTC) }
	got, err := a.VisitsWithin(t.Context(), "hill", at(3), at(6), time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 || got[0].VolumeL != 1 || got[1].VolumeL != 3 {
		t.Errorf("got %+v", got)
	}
	hours, err := a.VisitHours(t.Context(), "hill", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[time.Time]bool{}
	for _, h := range hours {
		seen[h] = true
	}
	if len(hours) != 3 || !seen[at(3)] || seen[at(4)] || !seen[at(5)] || !seen[at(6)] {
		t.Errorf("hours %v", hours)
	}
}
