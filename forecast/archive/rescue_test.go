package archive

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"thawline/forecast/records"
)

// damage writes over one page of a file, such as a failing disk does.
func damage(t *testing.T, path string, page int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(bytes.Repeat([]byte{0xa5}, 4096), page*4096); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// One damaged page, wherever it is, costs at most what was written since the last copy,
// and of that only what lay in it.
func TestDamagedPageGivesWayToTheCopy(t *testing.T) {
	ctx := context.Background()
	made := filepath.Join(t.TempDir(), "made.db")
	a, err := Open(ctx, made)
	if err != nil {
		t.Fatal(err)
	}
	put := func(day int) {
		t.Helper()
		v := records.Visit{Site: "hill", Group: "ridge", CollectedAt: time.Date(2026, 3, day, 17, 0, 0, 0, time.UTC),
			VolumeL: float64(day), BrixPct: math.NaN()}
		if _, err := a.PutVisits(ctx, []records.Visit{v}, "Wren", v.CollectedAt); err != nil {
			t.Fatal(err)
		}
	}
	put(1)
	copies := t.TempDir()
	if err := a.Backup(ctx, filepath.Join(copies, "thawline-20260301032000.db")); err != nil {
		t.Fatal(err)
	}
	put(2)
	if err := a.Backup(ctx, filepath.Join(copies, "thawline-20260302032000.db")); err != nil {
		t.Fatal(err)
	}
	put(3)
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(made)
	if err != nil {
		t.Fatal(err)
	}
	damage(t, filepath.Join(copies, "thawline-20260302032000.db"), 1) // the newest copy is no good either
	if err := os.WriteFile(filepath.Join(copies, "thawline-20260303032000.db"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(made, filepath.Join(copies, "thawline-20260304032000.db")); err != nil {
		t.Fatal(err)
	}
	found, kept := 0, 0
	for page := int64(0); page < int64(len(whole)/4096); page += 8 {
		path := filepath.Join(t.TempDir(), "thawline.db")
		if err := os.WriteFile(path, whole, 0o600); err != nil {
			t.Fatal(err)
		}
		damage(t, path, page)
		if a, err := Open(ctx, path); !Damaged(err) {
			if err != nil {
				t.Fatalf("page %d: %v", page, err)
			}
			_ = a.Close() // a page that nothing lies in
			continue
		}
		found++
		r, err := PutBackBackup(ctx, path, copies)
		if err != nil {
			t.Fatalf("page %d: %v", page, err)
		}
		if r.Backup != filepath.Join(copies, "thawline-20260301032000.db") {
			t.Fatalf("page %d: took %s", page, r.Backup)
		}
		if _, err := os.Stat(r.Aside); err != nil {
			t.Errorf("page %d: the damaged file is gone: %v", page, err)
		}
		a, err := Open(ctx, path)
		if err != nil {
			t.Fatalf("page %d: %v", page, err)
		}
		visits, err := a.Visits(ctx, "hill", time.Time{}, time.UTC)
		if err != nil || len(visits) != 1 && len(visits) != 3 {
			t.Errorf("page %d: %d visits, %v", page, len(visits), err)
		}
		if len(visits) == 3 {
			kept++
		}
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	}
	t.Logf("%d damaged pages, all records kept with %d of them", found, kept)
	if found < 5 || kept < found/2 {
		t.Errorf("%d damaged pages, all records kept with %d", found, kept)
	}
	path := filepath.Join(t.TempDir(), "thawline.db")
	if err := os.WriteFile(path, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	damage(t, path, 0)
	if _, err := PutBackBackup(ctx, path, t.TempDir()); !errors.Is(err, ErrNoBackup) {
		t.Errorf("without a copy: %v", err)
	}
	held, err := lockBeside(path, 1)
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	if _, err := PutBackBackup(ctx, path, copies); !errors.Is(err, ErrInUse) {
		t.Errorf("while another has it open: %v", err)
	}
}
