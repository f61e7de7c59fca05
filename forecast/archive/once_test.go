package archive

import (
	"encoding/json"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"thawline/forecast/records"
)

// An entry that a phone sends again counts once: also at the same moment from
// two sides, and also after somebody has corrected it.
func TestEntriesCountOnce(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "a.db"))
	var wg sync.WaitGroup
	var mu sync.Mutex
	fresh := 0
	for range 8 {
		wg.Go(func() {
			puts, again, err := a.PutVisitsOnce(t.Context(), "key-1", []records.Visit{visit(1, 40)}, "Odell", now)
			if err != nil || len(puts) != 1 || puts[0].Outcome != Added {
				t.Errorf("%v %+v", err, puts)
			}
			mu.Lock()
			defer mu.Unlock()
			if !again {
				fresh++
			}
		})
	}
	wg.Wait()
	if fresh != 1 {
		t.Errorf("%d of 8 were taken as new", fresh)
	}
	if _, err := a.PutVisits(t.Context(), []records.Visit{visit(1, 44)}, "Wren", now); err != nil {
		t.Fatal(err)
	}
	if _, again, err := a.PutVisitsOnce(t.Context(), "key-1", []records.Visit{visit(1, 40)}, "Odell", now); err != nil || !again {
		t.Error(again, err)
	}
	all, err := a.Visits(t.Context(), "", time.Time{}, time.UTC)
	if err != nil || len(all) != 1 || all[0].VolumeL != 44 {
		t.Errorf("%v %+v", err, all)
	}
	if err := a.ForgetEntries(t.Context(), now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if _, again, err := a.PutVisitsOnce(t.Context(), "key-1", []records.Visit{visit(1, 44)}, "Odell", now); err != nil || again {
		t.Error("a forgotten key is known", err)
	}
	if site, err := a.SiteOf(t.Context(), all[0].ID); err != nil || site != all[0].Site {
		t.Error(site, err)
	}
}

func TestEveningsAndMarks(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "a.db"))
	for _, said := range []string{"first", "second"} { // what people were told stays
		if err := a.PutEvening(t.Context(), "hill", "2026-03-20", map[string]string{"said": said}); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.PutEvening(t.Context(), "hill", "2025-03-20", "old"); err != nil {
		t.Fatal(err)
	}
	list, err := a.Evenings(t.Context(), "hill", "2025-11-01")
	var said map[string]string
	if err != nil || len(list) != 1 || json.Unmarshal(list[0], &said) != nil || said["said"] != "first" {
		t.Errorf("%v %s", err, list)
	}
	if err := a.ForgetEvenings(t.Context(), "hill", now.AddDate(0, -6, 0)); err != nil {
		t.Fatal(err)
	}
	if list, err = a.Evenings(t.Context(), "hill", ""); err != nil || len(list) != 1 {
		t.Errorf("%v %d left", err, len(list))
	}

	mark := func() string {
		m, err := a.SeasonMark(t.Context(), "hill", "place", now.AddDate(0, -6, 0), now)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	before := mark()
	v := visit(1, 40)
	v.Site = "hill"
	if _, err := a.PutVisits(t.Context(), []records.Visit{v}, "Odell", now); err != nil {
		t.Fatal(err)
	}
	added := mark()
	v.VolumeL = 41
	if _, err := a.PutVisits(t.Context(), []records.Visit{v}, "Odell", now); err != nil {
		t.Fatal(err)
	}
	if corrected := mark(); before == added || added == corrected {
		t.Errorf("marks %q %q %q", before, added, corrected)
	}
	if first, last, err := a.HoursKept(t.Context(), "place"); err != nil || !first.IsZero() || !last.IsZero() {
		t.Error(first, last, err)
	}
}
