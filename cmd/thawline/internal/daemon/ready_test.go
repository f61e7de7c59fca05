package daemon

import (
	"context"
	"database/sql"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/hooks"
)

// Whoever watches /readyz sees that nothing can be written any more.
func TestReadyOnlyWhileRecordsCanBeWritten(t *testing.T) {
	ctx := context.Background()
	at := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	d, _ := alone(t, at.Add(-time.Minute))
	d.Step(ctx, at)
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return at }))
	defer server.Close()
	if code, said := get(t, server.URL+"/readyz"); code != 200 || !strings.HasPrefix(said, "ok\n") {
		t.Fatalf("got %d %s", code, said)
	}
	db := d.Archive.DB()
	db.SetMaxOpenConns(1)
	do := func(statement string) error {
		_, err := db.ExecContext(ctx, statement)
		return err
	}
	if err := do("PRAGMA max_page_count = 1"); err != nil {
		t.Fatal(err)
	}
	if err := do("CREATE TABLE filler (x BLOB)"); err == nil {
		for do("INSERT INTO filler VALUES (zeroblob(1000))") == nil {
		}
	}
	if code, said := get(t, server.URL+"/readyz"); code != 503 || !strings.Contains(said, "the disk is full") {
		t.Errorf("on a full disk: got %d %s", code, said)
	}
	if code, said := get(t, server.URL+"/healthz"); code != 200 { // it must not be started again for that
		t.Errorf("on a full disk /healthz: got %d %s", code, said)
	}
	if err := do("PRAGMA max_page_count = 100000"); err != nil {
		t.Fatal(err)
	}
	if code, said := get(t, server.URL+"/readyz"); code != 200 {
		t.Errorf("with room again: got %d %s", code, said)
	}
	if err := do("PRAGMA query_only = 1"); err != nil {
		t.Fatal(err)
	}
	if code, said := get(t, server.URL+"/readyz"); code != 503 {
		t.Errorf("for reading only: got %d %s", code, said)
	}
}

// Another program that holds the file keeps nobody waiting beyond the deadline.
func TestReadyDoesNotWaitForOthers(t *testing.T) {
	at := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	d, _ := alone(t, at.Add(-time.Minute))
	d.Step(context.Background(), at)
	other, err := sql.Open("sqlite", "file:"+d.Archive.Path()+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	tx, err := other.BeginTx(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 100*time.Millisecond)
	defer cancel()
	began := time.Now()
	if said := d.Ready(ctx, at); !strings.Contains(said, "no answer within") || time.Since(began) > 5*time.Second {
		t.Errorf("after %s: got %q", time.Since(began), said)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if said := d.Ready(context.Background(), at); said != "" {
		t.Errorf("when it is let go: got %q", said)
	}
}

// A disk that is full to the last byte is not ok, though SQLite has pages of its own that
// could still be written over.
func TestNotReadyOnAFullDisk(t *testing.T) {
	dir := smallDisk(t)
	if dir == "" {
		t.Skip("no file system may be mounted here: a full disk is not tried")
	}
	ctx := t.Context()
	at := time.Date(2026, 3, 10, 18, 30, 0, 0, newYork(t))
	d := started(t, filepath.Join(dir, "d.db"), evenSettings(""), at.Add(-time.Minute))
	d.Step(ctx, at)
	for range 3 { // each leaves pages that the next one could take
		if said := d.Ready(ctx, at); said != "" {
			t.Fatal(said)
		}
	}
	filler := filepath.Join(dir, "filler")
	fillUp(t, filler)
	if said := d.Ready(ctx, at); !strings.Contains(said, "the disk is full") {
		t.Errorf("on a full disk: got %q", said)
	}
	if got := d.StorageFault(ctx, at); got != hooks.DiskFull {
		t.Errorf("figures say %q", got)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if said := d.Ready(ctx, at); said != "" {
		t.Errorf("with room again: %q", said)
	}
	if left, err := filepath.Glob(filepath.Join(dir, ".thawline-*")); err != nil || len(left) > 0 {
		t.Errorf("%v: left behind: %v", err, left)
	}
}
