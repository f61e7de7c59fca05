package beside

import (
	"context"
	"database/sql"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// PgBouncer is the address of an empty database behind a PgBouncer of the test's own in its
// transaction mode, with so many connections to the PostgreSQL that THAWLINE_TEST_POSTGRES
// names. Both end with the test; it is skipped where one of them is missing.
func PgBouncer(t testing.TB, connections int) string {
	t.Helper()
	address := os.Getenv("THAWLINE_TEST_POSTGRES")
	if address == "" {
		t.Skip("THAWLINE_TEST_POSTGRES names no database: PgBouncer is not tried")
	}
	program, err := exec.LookPath("pgbouncer")
	if err != nil {
		if program, err = exec.LookPath("/usr/sbin/pgbouncer"); err != nil {
			t.Skip("pgbouncer is not installed: it is not tried")
		}
	}
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	name := emptyDatabase(t, address)
	dir := t.TempDir()
	_, port, err := net.SplitHostPort(FreePort(t))
	if err != nil {
		t.Fatal(err)
	}
	ini := fmt.Sprintf("[databases]\n* = host=%s port=%s user=%s\n[pgbouncer]\nlisten_addr = 127.0.0.1\nlisten_port = %s\nunix_socket_dir =\nauth_type = any\npool_mode = transaction\ndefault_pool_size = %d\n",
		u.Hostname(), u.Port(), u.User.Username(), port, connections)
	settings := filepath.Join(dir, "pgbouncer.ini")
	if err := os.WriteFile(settings, []byte(ini), 0o644); err != nil {
		t.Fatal(err)
	}
	args := []string{"-q", settings}
	if me, err := user.Current(); err == nil && me.Uid == "0" { // it will not run as root
		args = append([]string{"-u", "nobody"}, args...)
		for at := dir; at != os.TempDir() && at != "/"; at = filepath.Dir(at) {
			if err := os.Chmod(at, 0o755); err != nil {
				t.Fatal(err)
			}
		}
	}
	cmd := exec.Command(program, args...)
	var said strings.Builder
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	u.Host = net.JoinHostPort("127.0.0.1", port)
	u.Path = "/" + name
	q := u.Query()
	q.Set("default_query_exec_mode", "exec")
	u.RawQuery = q.Encode()
	db, err := sql.Open("pgx", u.String())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if err = db.PingContext(context.Background()); err == nil {
			return u.String()
		}
		if time.Now().After(end) {
			t.Fatalf("pgbouncer: %v\n%s", err, said.String())
		}
	}
}

// emptyDatabase makes a database beside the one that an address names, dropped when the
// test ends.
func emptyDatabase(t testing.TB, address string) string {
	t.Helper()
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	name := fmt.Sprintf("thawline_test_%d_%d", os.Getpid(), schemas.Add(1))
	if _, err := db.ExecContext(context.Background(), "CREATE DATABASE "+name); err != nil {
		t.Fatalf("THAWLINE_TEST_POSTGRES: %v", err)
	}
	t.Cleanup(func() {
		if _, err := db.ExecContext(context.Background(), "DROP DATABASE "+name+" WITH (FORCE)"); err != nil {
			t.Error(err)
		}
		_ = db.Close()
	})
	return name
}
