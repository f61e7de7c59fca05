package archive

import (
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/pressly/goose/v3"
)

// Before a file is brought to a newer form a copy of it is kept, which only we may read; a
// version that does not know the form says where that copy lies.
func TestACopyIsKeptBeforeTheFormChanges(t *testing.T) {
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "thawline.db")
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		t.Fatal(err)
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithGoMigrations(riverSteps(false)...))
	if err != nil {
		t.Fatal(err)
	}
	sources := p.ListSources()
	newest, older := sources[len(sources)-1].Version, sources[len(sources)-2].Version
	if _, err := p.UpTo(ctx, older); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	copied := (&Archive{path: path}).before(older)
	for range 2 { // the second time there is nothing to change
		a, err := Open(ctx, path)
		if err != nil {
			t.Fatal(err)
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if info, err := os.Stat(copied); err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("%v %v", info, err)
	}
	if all, err := filepath.Glob(path + ".before-*"); err != nil || len(all) != 1 {
		t.Errorf("%v %v", err, all)
	}
	was, err := sql.Open("sqlite", "file:"+copied)
	if err != nil {
		t.Fatal(err)
	}
	defer was.Close()
	var form int64
	if err := was.QueryRowContext(ctx, "SELECT MAX(version_id) FROM goose_db_version").Scan(&form); err != nil || form != older {
		t.Errorf("the copy is of form %d, %v; want %d", form, err, older)
	}

	// Back to a version that does not know the form.
	if db, err = sql.Open("sqlite", "file:"+path); err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(ctx, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (?1, 1)", newest+100); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(copied, (&Archive{path: path}).before(newest)); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(ctx, path); !errors.Is(err, ErrNewer) ||
		!strings.Contains(err.Error(), "thawline db restore "+(&Archive{path: path}).before(newest)) {
		t.Errorf("a newer form: %v", err)
	}
}
