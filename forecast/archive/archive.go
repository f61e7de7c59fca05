// Package archive keeps what was collected and what the weather was, in one
// SQLite file or a PostgreSQL database.
package archive

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite" // registers the driver
	sqlite3 "modernc.org/sqlite/lib"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Archive is an open file or database. It may be used by several goroutines, and
// what it stands for by several processes.
type Archive struct {
	db       *sql.DB
	path     string // as errors name it
	postgres bool
	address  string    // of a PostgreSQL database
	pools    []*sql.DB // beside db
	held     *os.File  // the lock of OpenInUse, nil without
	written  chan struct{}
	cells    atomic.Pointer[cells]
	lastPut  sync.Map // by cell, the mark of what was put last
}

// Open opens the file, makes it if there is none, brings it to the present
// form and checks it. The folder must exist or be one that can be made. An
// address that begins with postgres:// opens a database there.
func Open(ctx context.Context, path string) (*Archive, error) {
	if isPostgres(path) {
		db, named, err := openPostgres(path)
		if err != nil {
			return nil, err
		}
		a := &Archive{db: db, path: named, postgres: true, address: path, written: make(chan struct{}, 1)}
		if err := a.prepare(ctx); err != nil {
			return nil, errors.Join(err, db.Close())
		}
		return a, nil
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("folder for records: %w; set data_dir to a folder that can be written", err)
	}
	// Where it can't be made at once it is made step by step, which also tells what is in the way.
	_ = makeFile(ctx, path)
	// WAL keeps readers and one writer out of each other's way and survives a kill
	// at any moment; FULL makes a power cut harmless as well.
	q := url.Values{"_txlock": {"immediate"},
		"_pragma": {fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()), "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)"}}
	db := sql.OpenDB(&parsing{inner: &sqlite.Driver{}, dsn: "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + q.Encode(),
		turn: make(turn, 1)})
	db.SetMaxIdleConns(readyConnections)
	db.SetConnMaxIdleTime(idleConnection)
	a := &Archive{db: db, path: path, written: make(chan struct{}, 1)}
	if err := a.prepare(ctx); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return a, nil
}

const (
	// busyTimeout is how long one that wants to write waits for others.
	busyTimeout = 10 * time.Second
	// readyConnections to a file stay open between the messages of an evening: opening one,
	// and parsing its statements, takes longer than what is asked.
	readyConnections = 32
)

// DB is the database, for what else is kept in the same file.
func (a *Archive) DB() *sql.DB { return a.db }

// Path is the file, or what the database is called.
func (a *Archive) Path() string { return a.path }

// Shared reports whether other daemons may use it too.
func (a *Archive) Shared() bool { return a.postgres }

// Close lets go of the file.
func (a *Archive) Close() error {
	err := a.db.Close()
	for _, db := range a.pools {
		err = errors.Join(err, db.Close())
	}
	if a.held != nil {
		_ = a.held.Close() // gives the lock back
	}
	return err
}

func (a *Archive) prepare(ctx context.Context) error {
	if err := a.Check(ctx); err != nil {
		return err
	}
	return a.bringToForm(ctx)
}

// bringToForm takes the steps that lead to the present form.
func (a *Archive) bringToForm(ctx context.Context) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return fmt.Errorf("migrations: %w", err)
	}
	dialect, options := goose.DialectSQLite3, []goose.ProviderOption{}
	options = append(options, goose.WithGoMigrations(riverSteps(a.postgres)...))
	if a.postgres {
		dialect, options = goose.DialectPostgres, append(options, goose.WithSessionLocker(&migrationLock{db: a.db}))
	}
	p, err := goose.NewProvider(dialect, a.db, files, options...)
	if err != nil {
		return a.told("prepare", err)
	}
	newest := p.ListSources()[len(p.ListSources())-1].Version
	if have, err := p.GetDBVersion(ctx); err == nil && have != newest {
		if have > newest {
			return a.newer(have, newest)
		}
		if err := a.copyBefore(ctx, have); err != nil {
			return err
		}
	}
	if _, err := p.Up(ctx); err != nil {
		return a.told("bring to the present form", err)
	}
	return nil
}

// Check reads the whole file for damage.
func (a *Archive) Check(ctx context.Context) error {
	if a.postgres { // it looks after its own pages
		if err := a.db.PingContext(ctx); err != nil {
			return a.told("reach", err)
		}
		return nil
	}
	var verdict string
	err := a.db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&verdict)
	if err == nil && verdict == "ok" {
		return nil
	}
	if err == nil {
		err = fmt.Errorf("%w: %s", errDamaged, strings.Join(strings.Fields(verdict), " "))
	}
	return a.told("check", err)
}

var errDamaged = errors.New("not whole")

// Damaged reports whether an error of Open or Check says that the file is no whole
// database.
func Damaged(err error) bool {
	var e *sqlite.Error
	if errors.As(err, &e) {
		code := e.Code() & 0xff
		return code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB
	}
	return errors.Is(err, errDamaged)
}

// Backup writes a whole copy to a new file while others go on reading and
// writing.
func (a *Archive) Backup(ctx context.Context, to string) error {
	if a.postgres {
		return errors.New("backup: PostgreSQL is backed up with its own pg_dump")
	}
	// It is written where nobody else can, and takes its name only as a whole: a name that
	// leads elsewhere, put there meanwhile, is not followed.
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("backup: %s is there already; name a new file", to)
	}
	dir, err := os.MkdirTemp(filepath.Dir(to), ".thawline-backup-")
	if err != nil {
		return fmt.Errorf("backup to %s: %w", to, err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	fresh := filepath.Join(dir, "copy.db")
	if _, err := a.db.ExecContext(ctx, "VACUUM INTO ?1", fresh); err != nil {
		return fmt.Errorf("backup to %s: %w", to, err)
	}
	copied, err := Open(ctx, fresh)
	if err != nil {
		return fmt.Errorf("the backup cannot be read back: %w", err)
	}
	if err := copied.Close(); err != nil {
		return fmt.Errorf("the backup cannot be read back: %w", err)
	}
	if err := os.Link(fresh, to); err == nil {
		return nil
	}
	if _, err := os.Lstat(to); err == nil { // no links on this disk: the name must be free all the same
		return fmt.Errorf("backup: %s is there already; name a new file", to)
	}
	if err := os.Rename(fresh, to); err != nil {
		return fmt.Errorf("backup to %s: %w", to, err)
	}
	return nil
}

const fullDisk = "the disk is full: nothing of this was written and what was there is safe; make room and do it again"

// told words what SQLite says about the file, with what to do.
func (a *Archive) told(doing string, err error) error {
	if errors.Is(err, ErrNoVisit) || errors.Is(err, ErrNoEntry) || errors.Is(err, ErrNoAttendance) { // says it all
		return err
	}
	remedy := postgresRemedy(err)
	var e *sqlite.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff {
		case sqlite3.SQLITE_FULL:
			remedy = fullDisk
		case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
			remedy = "another program has been writing for over ten seconds; close it and do it again"
		case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
			remedy = "the file is damaged; move it away and put the last backup in its place (thawline db restore)"
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN:
			remedy = "the file or its folder cannot be written; check who owns them"
		}
	}
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		remedy = fullDisk
	}
	if errors.Is(err, errDamaged) {
		remedy = "the file is damaged; move it away and put the last backup in its place (thawline db restore)"
	}
	if remedy != "" {
		return fmt.Errorf("%s %s: %w; %s", doing, a.path, err, remedy)
	}
	return fmt.Errorf("%s %s: %w", doing, a.path, err)
}

// tries is how often a transaction is begun that others get in the way of.
const tries = 8

// within runs do in one transaction. Two that write the same record meet at a
// unique row, here its history's; one of them is done again, so do may run more
// than once.
func (a *Archive) within(ctx context.Context, doing string, do func(tx *sql.Tx) error) error {
	var err error
	for range tries {
		if err = a.once(ctx, doing, do); !errors.Is(err, errOvertaken) && (!a.postgres || !crossed(err)) {
			return err
		}
	}
	return err
}

func (a *Archive) once(ctx context.Context, doing string, do func(tx *sql.Tx) error) error {
	tx, err := a.db.BeginTx(ctx, nil)
	if err != nil {
		return a.told(doing, err)
	}
	if err := do(tx); err != nil {
		if back := tx.Rollback(); back != nil && !errors.Is(back, sql.ErrTxDone) {
			err = errors.Join(err, back)
		}
		return a.told(doing, err)
	}
	if err := tx.Commit(); err != nil {
		return a.told(doing, err)
	}
	return nil
}
