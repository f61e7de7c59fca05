package archive

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
)

// A statement that is asked again is not parsed again, one whose rows are still being read
// is not touched, and what a table's new form changes is seen.
func TestStatementsAreParsedOnce(t *testing.T) {
	ctx := context.Background()
	a := opened(t, filepath.Join(t.TempDir(), "a.db"))
	conn, err := a.db.Conn(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	kept := func() (n int) {
		if err := conn.Raw(func(c any) error { n = len(c.(*parsedConn).parsed); return nil }); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := kept() // of opening
	for _, statement := range []string{"CREATE TABLE pail (n INTEGER)", "INSERT INTO pail VALUES (1), (2), (3)"} {
		if _, err := conn.ExecContext(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	const query = "SELECT * FROM pail WHERE n >= ?1 ORDER BY n"
	outer, err := conn.QueryContext(ctx, query, 1)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for outer.Next() {
		var n, m int
		if err := outer.Scan(&n); err != nil {
			t.Fatal(err)
		}
		if err := conn.QueryRowContext(ctx, query, n).Scan(&m); err != nil || n != m {
			t.Fatalf("%d, want %d: %v", m, n, err)
		}
		got += fmt.Sprint(n)
	}
	if err := outer.Err(); err != nil || got != "123" {
		t.Fatalf("%q, want 123: %v", got, err)
	}
	if err := outer.Close(); err != nil || kept() != before+1 {
		t.Errorf("%d statements are kept, want %d: %v", kept(), before+1, err)
	}
	if _, err := conn.ExecContext(ctx, "ALTER TABLE pail ADD COLUMN full INTEGER DEFAULT 7"); err != nil {
		t.Fatal(err)
	}
	var n, full int
	if err := conn.QueryRowContext(ctx, query, 2).Scan(&n, &full); err != nil || n != 2 || full != 7 {
		t.Errorf("%d and %d, want 2 and 7: %v", n, full, err)
	}
	for i := range 2 * parsedKept {
		if err := conn.QueryRowContext(ctx, fmt.Sprintf("SELECT ?1 + %d", i), 1).Scan(&n); err != nil || n != 1+i {
			t.Fatalf("%d, want %d: %v", n, 1+i, err)
		}
	}
	if kept() > parsedKept {
		t.Errorf("%d statements are kept, at most %d", kept(), parsedKept)
	}
	if err := conn.QueryRowContext(ctx, "SELECT nothing FROM pail WHERE n = ?1", 1).Scan(&n); err == nil {
		t.Error("a column that is not there was read")
	}
}
