package archive

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/testdata/beside"
)

// What was seen is kept once a site, the newest of it; each change is counted and the same
// again is none; an older outlook that comes late changes nothing.
func TestSightingsAreCountedByChange(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "sightings.db"))
	put := func(site, day string, at time.Time, chances ...float64) {
		t.Helper()
		q, err := PutSighting(&Sighting{site, day, at, chances})
		if err != nil {
			t.Fatal(err)
		}
		if a.write(t.Context(), q); q.Err != nil {
			t.Fatal(q.Err)
		}
	}
	stands := func(together int64, revisions map[string]int64) {
		t.Helper()
		n, err := a.SightingsTogether(t.Context())
		got, fault := a.SightingRevisions(t.Context(), "2026-04-01")
		if err != nil || fault != nil || n != together || !cmp.Equal(got, revisions) {
			t.Errorf("%d %v, want %d %v: %v %v", n, got, together, revisions, err, fault)
		}
	}
	stands(0, map[string]int64{})
	put("hill", "2026-04-01", now, 0.5, 0.25)
	put("hill", "2026-04-01", now.Add(time.Minute), 0.5, 0.25) // the same
	put("brook", "2026-03-31", now)                            // of yesterday, and taken back
	stands(2, map[string]int64{"hill": 1})
	put("hill", "2026-04-01", now.Add(-time.Hour), 0.125) // late
	put("hill", "2026-04-01", now.Add(2*time.Minute), 1)
	stands(3, map[string]int64{"hill": 2})
	list, err := a.SightingsOf(t.Context(), []string{"hill", "nobody"})
	if d := cmp.Diff([]Sighting{{"hill", "2026-04-01", now.Add(2 * time.Minute), []float64{1}}}, list); err != nil || d != "" {
		t.Errorf("%v\n%s", err, d)
	}
	if err := a.ForgetSightings(t.Context(), "2026-04-01"); err != nil {
		t.Fatal(err)
	}
	if n, err := a.SightingsTogether(t.Context()); err != nil || n != 2 {
		t.Errorf("%d after yesterday's went: %v", n, err)
	}
}

func TestSightingsOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){"sightings": TestSightingsAreCountedByChange})
}
