package archive

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/forecast/records"
)

// onTop corrects what is there of a day, and adds what is not.
func onTop(visits []records.Visit) func(i int, near []Stored) Placed {
	return func(i int, near []Stored) Placed {
		for of := range near {
			if near[of].CollectedAt.Equal(visits[i].CollectedAt) {
				p := Placed{Outcome: Corrected, Visit: visits[i], Of: of}
				if near[of].Removed {
					p.Outcome = BroughtBack
				}
				return p
			}
		}
		return Placed{Outcome: Added, Visit: visits[i]}
	}
}

func litresOf(t *testing.T, a *Archive) string {
	t.Helper()
	all, err := a.Visits(t.Context(), "hill", time.Time{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for i := range all {
		out = append(out, fmt.Sprintf("%d:%g", all[i].CollectedAt.Day(), all[i].VolumeL))
	}
	return strings.Join(out, " ")
}

// An entry is taken back as one: what it added goes, what it corrected says again what
// it said, and what somebody has changed since stays.
func TestEntriesAreTakenBack(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "e.db"))
	enter := func(e Entry, visits ...records.Visit) Written {
		t.Helper()
		w, err := a.PutEntry(t.Context(), e, visits, onTop(visits), now)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	sheet := odell("")
	sheet.Way = "import"
	enter(odell(""), visit(1, 10))
	second := enter(sheet, visit(1, 11), visit(2, 20), visit(3, 30), visit(3, 31))
	wren := odell("")
	wren.Person, wren.By = "", "Wren"
	enter(wren, visit(2, 22))
	if got := litresOf(t, a); got != "1:11 2:22 3:31" {
		t.Fatal(got)
	}
	if w, err := a.Entry(t.Context(), "hill", second.Number, time.UTC); err != nil || len(w.Puts) != 4 ||
		w.Puts[0].Before.VolumeL != 10 || w.Puts[0].Visit.VolumeL != 11 || w.Way != "import" || w.Undone || !w.At.Equal(now) {
		t.Errorf("%v %+v", err, w)
	}
	last := func(person, by string, without ...string) int64 {
		t.Helper()
		n, err := a.LastEntry(t.Context(), "hill", person, by, without...)
		if err != nil && !errors.Is(err, ErrNoEntry) {
			t.Fatal(err)
		}
		return n
	}
	if odell, byHand, wren, other := last("odell", "Odell"), last("odell", "Odell", "import"), last("", "Wren"),
		last("", "Odell"); odell != 2 || byHand != 1 || wren != 3 || other != 0 {
		t.Errorf("the last entries are %d, %d, %d, %d", odell, byHand, wren, other)
	}
	back, changed, err := a.UndoEntry(t.Context(), "hill", second.Number, time.UTC, "Odell", now.Add(time.Hour))
	if err != nil || changed != 1 || len(back) != 2 || back[0].Removed || back[0].VolumeL != 10 || !back[1].Removed {
		t.Errorf("%v %d %+v", err, changed, back)
	}
	if got := litresOf(t, a); got != "1:10 2:22" {
		t.Error(got)
	}
	if _, _, err := a.UndoEntry(t.Context(), "hill", second.Number, time.UTC, "Odell", now.Add(time.Hour)); !errors.Is(err, ErrNoEntry) {
		t.Errorf("taken back twice: %v", err)
	}
	if _, _, err := a.UndoEntry(t.Context(), "far", 1, time.UTC, "Odell", now); !errors.Is(err, ErrNoEntry) {
		t.Errorf("of another site: %v", err)
	}
	if got := last("odell", "Odell"); got != 1 {
		t.Errorf("the one before is %d", got)
	}
	// What is corrected by hand is taken back too, and what was taken out goes again.
	stored, err := a.Visits(t.Context(), "hill", time.Time{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := a.Correct(t.Context(), odell(""), stored[0].ID, Any, visit(1, 15), now); err != nil {
		t.Fatal(err)
	}
	if _, _, err := a.UndoEntry(t.Context(), "hill", last("odell", ""), time.UTC, "Odell", now); err != nil ||
		litresOf(t, a) != "1:10 2:22" {
		t.Error(err, litresOf(t, a))
	}
	if again := enter(sheet, visit(3, 30)); again.Puts[0].Outcome != BroughtBack {
		t.Errorf("%+v", again.Puts)
	}
	if _, _, err := a.UndoEntry(t.Context(), "hill", last("odell", ""), time.UTC, "Odell", now); err != nil ||
		litresOf(t, a) != "1:10 2:22" {
		t.Error(err, litresOf(t, a))
	}
	if err := a.ForgetEntries(t.Context(), now.Add(time.Second)); err != nil || last("odell", "Odell") != 0 ||
		litresOf(t, a) != "1:10 2:22" {
		t.Error(err, litresOf(t, a))
	}
}

// Entries of a site that come at the same moment each see what the others wrote.
func TestEntriesSeeEachOther(t *testing.T) {
	a := opened(t, filepath.Join(t.TempDir(), "s.db"))
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			v := visit(1, 80)
			v.DateOnly, v.CollectedAt = false, v.CollectedAt.Add(time.Duration(i)*time.Second)
			_, err := a.PutEntry(t.Context(), odell(""), []records.Visit{v}, func(_ int, near []Stored) Placed {
				if at := slices.IndexFunc(near, func(s Stored) bool { return v.IsAgain(&s.Visit) }); at >= 0 {
					return Placed{Outcome: Same, Visit: v, Of: at}
				}
				return Placed{Outcome: Added, Visit: v}
			}, now)
			if err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if got := litresOf(t, a); got != "1:80" {
		t.Errorf("eight times the same is %s", got)
	}
}
