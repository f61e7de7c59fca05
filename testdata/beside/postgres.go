package beside

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"sync"
	"sync/atomic"
	"testing"

	_ "github.com/jackc/pgx/v5/stdlib" // registers the driver
)

var schemas atomic.Int64

// Postgres is the address of an empty corner of the database that
// THAWLINE_TEST_POSTGRES names, dropped when the test ends; "" where none is
// named, which the test should say.
func Postgres(t testing.TB) string {
	t.Helper()
	address := os.Getenv("THAWLINE_TEST_POSTGRES")
	if address == "" {
		return ""
	}
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	name := fmt.Sprintf("thawline_test_%d_%d", os.Getpid(), schemas.Add(1))
	if _, err := db.ExecContext(context.Background(), "CREATE SCHEMA "+name); err != nil {
		t.Fatalf("THAWLINE_TEST_POSTGRES: %v", err)
	}
	t.Cleanup(func() {
		if _, err := db.ExecContext(context.Background(), "DROP SCHEMA "+name+" CASCADE"); err != nil {
			t.Error(err)
		}
		_ = db.Close()
	})
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", name)
	u.RawQuery = q.Encode()
	return u.String()
}

// Where is where a test keeps records: the path that it names, unless OnPostgres
// is running it again.
func Where(t testing.TB, path string) string {
	t.Helper()
	if !onPostgres {
		return path
	}
	cornersMu.Lock()
	defer cornersMu.Unlock()
	if where, known := corners[path]; known {
		return where
	}
	corners[path] = Postgres(t)
	return corners[path]
}

var (
	onPostgres bool
	cornersMu  sync.Mutex
	corners    = map[string]string{} // by the path that a test names
)

// OnPostgres runs tests again, which are not parallel, on PostgreSQL instead of
// SQLite, if THAWLINE_TEST_POSTGRES names a database.
func OnPostgres(t *testing.T, tests map[string]func(*testing.T)) {
	t.Helper()
	if os.Getenv("THAWLINE_TEST_POSTGRES") == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: PostgreSQL is not tried")
	}
	onPostgres = true
	defer func() { onPostgres = false }()
	for name, test := range tests {
		t.Run(name, test)
	}
}
