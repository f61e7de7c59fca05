package archive

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"thawline/forecast/records"
)

func odell(key string) Entry {
	return Entry{Site: "hill", Way: "form", Person: "odell", By: "Odell", Key: key, Zone: time.UTC}
}

// asNew places a visit where nothing is yet.
func asNew(v records.Visit) func(int, []Stored) Placed {
	return func(int, []Stored) Placed { return Placed{Outcome: Added, Visit: v} }
}

// An entry that a phone sends again counts once: also at the same moment from
// two sides, and also after somebody has corrected it.
func TestEntriesCountOnce(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "a.db"))
	var wg sync.WaitGroup
	var mu sync.Mutex
	fresh := 0
	for range 8 {
		wg.Go(func() {
			w, err := a.PutEntry(t.Context(), odell("key-1"), []records.Visit{visit(1, 40)}, asNew(visit(1, 40)), now)
			if err != nil || len(w.Puts) != 1 || w.Puts[0].Outcome != Added || w.Puts[0].ID == "" || w.Number != 1 {
				t.Errorf("%v %+v", err, w)
			}
			mu.Lock()
			defer mu.Unlock()
			if !w.Again {
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
	if w, err := a.PutEntry(t.Context(), odell("key-1"), []records.Visit{visit(1, 40)}, asNew(visit(1, 40)), now); err != nil || !w.Again {
		t.Error(w, err)
	}
	all, err := a.Visits(t.Context(), "", time.Time{}, time.UTC)
	if err != nil || len(all) != 1 || all[0].VolumeL != 44 {
		t.Errorf("%v %+v", err, all)
	}
	if err := a.ForgetEntries(t.Context(), now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if w, err := a.PutEntry(t.Context(), odell("key-1"), []records.Visit{visit(2, 44)}, asNew(visit(2, 44)), now); err != nil || w.Again {
		t.Error("a forgotten key is known", err)
	}
	if one, err := a.Visit(t.Context(), all[0].ID, time.UTC); err != nil || one.Site != all[0].Site {
		t.Error(one, err)
	}
}

func TestEveningsAndMarks(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "a.db"))
	for _, said := range []string{"first", "second"} { // what people were told stays
		if err := a.PutMade(t.Context(),
			&Made{Site: "hill", Made: now, Issued: now, Date: "2026-03-20", Evening: map[string]string{"said": said}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.PutMade(t.Context(), &Made{Site: "hill", Made: now, Issued: now, Date: "2025-03-20", Evening: "old"}); err != nil {
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
		m, err := a.SeasonMarks(t.Context(), "hill", "place", Span{now.AddDate(0, -6, 0), now})
		if err != nil {
			t.Fatal(err)
		}
		return m[0]
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

// A year of records that was deleted, spoilt and mixed with another's by mistake is
// given back as it was, and what was done is kept as well.
func TestAMistakeIsUndone(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "u.db"))
	var before []records.Visit
	for i := range 60 {
		v := visit(i%28+1, float64(10+i))
		v.Group = fmt.Sprint("g", i/28)
		before = append(before, v)
	}
	if _, err := a.PutVisits(t.Context(), before, "ann", now.AddDate(0, -1, 0)); err != nil {
		t.Fatal(err)
	}
	list := func() []Stored {
		stored, err := a.Visits(t.Context(), "", time.Time{}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		return stored
	}
	was := list()
	for i := range was {
		if i%3 == 0 {
			continue
		}
		if err := a.Remove(t.Context(), was[i].ID, Any, "bob", now); err != nil {
			t.Fatal(err)
		}
	}
	wrong := append([]records.Visit{}, before[0], visit(3, 99))
	wrong[0].VolumeL, wrong[1].Group = 1, "another's"
	if _, err := a.PutVisits(t.Context(), wrong, "bob", now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	n, err := a.UndoSince(t.Context(), "", now.Add(-time.Minute), "ann", now.Add(time.Hour))
	if err != nil || n != 40+2 {
		t.Errorf("%d records touched: %v", n, err)
	}
	same := cmpopts.IgnoreFields(Stored{}, "Revision", "RecordedAt", "RecordedBy")
	if d := cmp.Diff(was, list(), same, cmpopts.EquateNaNs()); d != "" {
		t.Errorf("after undoing:\n%s", d)
	}
	if n, err := a.UndoSince(t.Context(), "", now.Add(30*time.Minute), "bob", now.Add(2*time.Hour)); err != nil || n != 42 ||
		len(list()) != 21 {
		t.Errorf("undone again: %d records touched, %d in the lists: %v", n, len(list()), err)
	}
}

// Of changes of the same record at the same revision one goes through; the others are
// told, and nothing of what the one wrote is lost. What was taken out and comes in
// again is brought back.
func TestOfTwoCorrectionsAtOnceOneIsTold(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "c.db"))
	put(t, a, visit(1, 100))
	stored, err := a.Visits(t.Context(), "", time.Time{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	const many = 6
	told := make(chan error, many)
	for i := range many {
		go func() {
			e := Entry{Site: "hill", By: fmt.Sprint("p", i), Zone: time.UTC}
			_, err := a.Correct(t.Context(), e, stored[0].ID, stored[0].Revision, visit(1, float64(200+i)), now)
			told <- err
		}()
	}
	went := 0
	for range many {
		switch err := <-told; {
		case err == nil:
			went++
		case !errors.Is(err, ErrChanged):
			t.Error(err)
		}
	}
	one, err := a.Visit(t.Context(), stored[0].ID, time.UTC)
	if went != 1 || err != nil || one.Revision != 2 || one.VolumeL < 200 || fmt.Sprintf("p%.0f", one.VolumeL-200) != one.RecordedBy {
		t.Errorf("%d went through: %+v %v", went, one, err)
	}
	if err := a.Remove(t.Context(), one.ID, 1, "late", now); !errors.Is(err, ErrChanged) {
		t.Errorf("taken out as it was before: %v", err)
	}
	if err := a.Remove(t.Context(), one.ID, 2, "ann", now); err != nil {
		t.Fatal(err)
	}
	if p := put(t, a, one.Visit)[0]; p.Outcome != BroughtBack {
		t.Errorf("%+v", p)
	}
}

// A key stands for what was first sent under it.
func TestAKeyIsForOneEntry(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "k.db"))
	for _, c := range []struct {
		print string
		want  error
		again bool
	}{{"one", nil, false}, {"one", nil, true}, {"other", ErrOtherEntry, false}, {"", nil, true}} {
		e := odell("key-2")
		e.Print = c.print
		if w, err := a.PutEntry(t.Context(), e, []records.Visit{visit(1, 40)}, asNew(visit(1, 40)), now); !errors.Is(err, c.want) ||
			w.Again != c.again {
			t.Errorf("%q: %t %v", c.print, w.Again, err)
		}
	}
}
