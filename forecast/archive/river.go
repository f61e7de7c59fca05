package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/rivermigrate"
)

// riverSteps bring the tables of River to a PostgreSQL database: as two steps, for a value
// that the first adds to a type can't be used before it is committed, and its own migrator
// has no lock. A file has no use for them.
func riverSteps(postgres bool) []*goose.Migration {
	to := func(version int, then string) *goose.GoFunc {
		return &goose.GoFunc{RunTx: func(ctx context.Context, tx *sql.Tx) error {
			if !postgres {
				return nil
			}
			m, err := rivermigrate.New(riverdatabasesql.New(nil), &rivermigrate.Config{Logger: slog.New(slog.DiscardHandler)})
			if err != nil {
				return err
			}
			upTo := &rivermigrate.MigrateOpts{TargetVersion: version}
			_, err = m.MigrateTx(ctx, tx, rivermigrate.DirectionUp, upTo) //nolint:staticcheck // what goes alone comes first
			if err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, then)
			return err
		}}
	}
	return []*goose.Migration{
		goose.NewGoMigration(41, to(5, ``), nil),
		// When each daemon was heard last, in milliseconds since 1970.
		goose.NewGoMigration(42, to(8, `CREATE TABLE engine_daemon (name TEXT PRIMARY KEY, seen_ms BIGINT NOT NULL)`), nil),
	}
}

// migrationLock is goose's lock, by which daemons that start side by side bring a database
// to its form one after the other. It is held by a transaction of its own and not by a
// session, which behind PgBouncer may be another one from statement to statement.
type migrationLock struct {
	db *sql.DB
	tx *sql.Tx
}

// What one daemon waits for another that brings the database to its form.
const (
	lockEvery = 50 * time.Millisecond
	lockWait  = 5 * time.Minute
)

// SessionLock takes the lock.
func (l *migrationLock) SessionLock(ctx context.Context, _ *sql.Conn) error {
	ctx, cancel := context.WithTimeout(ctx, lockWait)
	defer cancel()
	for {
		tx, err := l.db.BeginTx(context.WithoutCancel(ctx), nil)
		if err != nil {
			return err
		}
		var taken bool
		if err := tx.QueryRowContext(ctx, `SELECT pg_try_advisory_xact_lock(?1)`, lock.DefaultLockID).Scan(&taken); err != nil {
			return errors.Join(err, tx.Rollback())
		}
		if taken {
			l.tx = tx
			return nil
		}
		if err := tx.Rollback(); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("another daemon brings it there: %w", ctx.Err())
		case <-time.After(lockEvery):
		}
	}
}

// SessionUnlock gives it back.
func (l *migrationLock) SessionUnlock(context.Context, *sql.Conn) error {
	return l.tx.Rollback()
}

// ListenAddress is where the database can be listened to for notifications: its own address,
// or "" for a file, and behind PgBouncer in its transaction mode, which an address says by
// the way in which queries are to be sent.
func (a *Archive) ListenAddress() string {
	if !a.postgres {
		return ""
	}
	c, err := pgx.ParseConfig(a.address)
	if err != nil || c.DefaultQueryExecMode == pgx.QueryExecModeExec || c.DefaultQueryExecMode == pgx.QueryExecModeSimpleProtocol {
		return ""
	}
	return a.address
}
