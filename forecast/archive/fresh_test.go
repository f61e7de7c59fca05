package archive

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"modernc.org/sqlite"
)

// formOf is the form of a file: every table and index as SQLite keeps it, and goose's steps.
func formOf(t *testing.T, db *sql.DB) (form []string) {
	t.Helper()
	rows, err := db.QueryContext(t.Context(), `SELECT type || ' ' || name || ' ' || coalesce(sql, '') AS line FROM sqlite_schema
		UNION ALL SELECT 'step ' || version_id || ' ' || is_applied FROM goose_db_version ORDER BY line`)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Fatal(err)
		}
		form = append(form, line)
	}
	return form
}

// A file that is made whole is the one that the steps make, in the same way of writing, and
// private: it lies beside nothing else.
func TestNewFileIsWhatStepsMake(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "stepwise.db")
	stepwise := sql.OpenDB(&parsing{inner: &sqlite.Driver{}, dsn: "file:" + path, turn: make(turn, 1)})
	t.Cleanup(func() { _ = stepwise.Close() })
	if err := (&Archive{db: stepwise, path: path}).bringToForm(t.Context()); err != nil {
		t.Fatal(err)
	}
	dir = t.TempDir()
	if err := makeFile(t.Context(), filepath.Join(dir, "a.db")); err != nil {
		t.Fatal(err)
	}
	list, err := os.ReadDir(dir)
	if err != nil || len(list) != 1 || list[0].Name() != "a.db" {
		t.Fatalf("%v (%v)", list, err)
	}
	info, err := list[0].Info()
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v (%v)", info.Mode(), err)
	}
	a, err := Open(t.Context(), filepath.Join(dir, "a.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	if d := cmp.Diff(formOf(t, stepwise), formOf(t, a.DB())); d != "" {
		t.Error(d)
	}
	var mode string
	if err := a.DB().QueryRowContext(t.Context(), "PRAGMA journal_mode").Scan(&mode); err != nil || mode != "wal" {
		t.Errorf("%s (%v)", mode, err)
	}
}

// Nothing takes the place of what is there, be it only the log of a file that was moved away:
// read as the new file's own it would be damage.
func TestNewFileTakesNoPlace(t *testing.T) {
	for _, left := range []string{"", "-wal", "-shm", "-journal"} {
		path := filepath.Join(t.TempDir(), "a.db")
		if err := os.WriteFile(path+left, []byte("left"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := makeFile(t.Context(), path); err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(path); left != "" && !errors.Is(err, os.ErrNotExist) {
			t.Errorf("made beside %q", left)
		}
		if has, err := os.ReadFile(path + left); err != nil || string(has) != "left" {
			t.Errorf("%q: %q (%v)", left, has, err)
		}
	}
	path := filepath.Join(t.TempDir(), "none")
	if err := makeFile(t.Context(), filepath.Join(path, "a.db")); err == nil {
		t.Error("made in a folder that is not")
	}
}

// Programs that start side by side on an empty folder have one file: what one writes the
// others read.
func TestNewFileOfSeveral(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.db")
	const many = 8
	var all [many]*Archive
	var wait sync.WaitGroup
	for i := range many {
		wait.Go(func() {
			a, err := Open(context.Background(), path)
			if err != nil {
				t.Error(err)
				return
			}
			all[i] = a
			if _, err := a.DB().ExecContext(context.Background(), `INSERT INTO site_changes (site, number) VALUES (?1, 1)`, i); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	for _, a := range all {
		if a == nil {
			continue
		}
		var n int
		if err := a.DB().QueryRowContext(t.Context(), `SELECT COUNT(*) FROM site_changes`).Scan(&n); err != nil || n != many {
			t.Errorf("%d of %d (%v)", n, many, err)
		}
		_ = a.Close()
	}
}
