package archive

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// postgresDiskFull is the code of disk_full (PostgreSQL's documentation, appendix A).
const postgresDiskFull = "53100"

// ballast is more than any page has left over: a row that lies in place already
// could be written where nothing else can.
const ballast = 16 << 10

// TryWriting writes one row, the same each time, and says what keeps it from that,
// such as a full disk. The row is made as large as a few pages on the way.
func (a *Archive) TryWriting(ctx context.Context, now time.Time) error {
	if err := a.tryRoom(); err != nil {
		return a.told("write to", err)
	}
	return a.within(ctx, "write to", func(tx *sql.Tx) error {
		for _, value := range []string{strings.Repeat(" ", ballast), now.UTC().Format(instant)} {
			if _, err := tx.ExecContext(ctx,
				`INSERT INTO kept_value (name, value) VALUES ('tried_writing', ?1) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, value); err != nil {
				return err
			}
		}
		return nil
	})
}

// tryRoom writes a file beside the database's own and takes it away: the row alone goes
// into pages that SQLite has already, and so would go through on a full disk.
func (a *Archive) tryRoom() error {
	if a.postgres {
		return nil
	}
	f, err := os.CreateTemp(filepath.Dir(a.path), ".thawline-room-*")
	if err != nil {
		return err
	}
	_, err = f.Write(bytes.Repeat([]byte("."), ballast))
	if err == nil {
		err = f.Sync() // some file systems find out only now
	}
	return errors.Join(err, f.Close(), os.Remove(f.Name()))
}

// DiskFull reports whether an error says that there is no room left to write.
func DiskFull(err error) bool {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()&0xff == sqlite3.SQLITE_FULL
	}
	var p *pgconn.PgError
	if errors.As(err, &p) {
		return p.Code == postgresDiskFull
	}
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}
