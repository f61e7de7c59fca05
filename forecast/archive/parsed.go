package archive

import (
	"context"
	"database/sql/driver"
	"errors"
	"strings"
	"time"

	"modernc.org/sqlite"
)

// parsedKept is how many statements a connection keeps ready: there are fewer than that
// in the program, but some have as many places as there are things to name.
const parsedKept = 256

// parsing is SQLite with connections that keep what they parsed. Parsing a statement
// takes longer than most take to run, and the same few come again and again.
type parsing struct {
	inner *sqlite.Driver
	dsn   string
	turn  turn
}

// turn lets the connections of this program write one after the other. SQLite lets one
// write at a time; the others look again after a sleep that grows to 100 ms, so that with
// many of them nobody writes for most of the time.
type turn chan struct{}

// take waits for the turn. Whoever has waited as long as SQLite would goes without, and is
// told by SQLite what is in the way.
func (t turn) take(ctx context.Context) (taken bool, err error) {
	select {
	case t <- struct{}{}:
		return true, nil
	default:
	}
	late := time.NewTimer(busyTimeout)
	defer late.Stop()
	select {
	case t <- struct{}{}:
		return true, nil
	case <-late.C:
		return false, nil
	case <-ctx.Done():
		return false, ctx.Err()
	}
}

func (t turn) give() { <-t }

// Open opens another file, or this one in another way.
func (p *parsing) Open(dsn string) (driver.Conn, error) {
	c, err := p.inner.Open(dsn)
	if err != nil {
		return nil, err
	}
	all, ok := c.(sqliteConn)
	if !ok {
		return nil, errors.Join(errors.New("this SQLite can't keep what it parsed"), c.Close())
	}
	return &parsedConn{sqliteConn: all, turn: p.turn, parsed: map[string]*parsedStmt{}}, nil
}

// Connect opens a connection to the file.
func (p *parsing) Connect(context.Context) (driver.Conn, error) { return p.Open(p.dsn) }

// Driver returns the driver itself.
func (p *parsing) Driver() driver.Driver { return p }

// sqliteConn is what a connection of the driver below can do.
type sqliteConn interface {
	driver.Conn
	driver.ConnBeginTx
	driver.ConnPrepareContext
	driver.ExecerContext
	driver.Pinger
	driver.QueryerContext
	driver.SessionResetter
	driver.Validator
}

// sqliteStmt is what a statement of the driver below can do.
type sqliteStmt interface {
	driver.Stmt
	driver.StmtExecContext
	driver.StmtQueryContext
}

// parsedConn is used by one goroutine at a time, as database/sql promises.
type parsedConn struct {
	sqliteConn
	turn   turn
	within bool // a transaction, which writes
	parsed map[string]*parsedStmt
}

type parsedStmt struct {
	sqliteStmt
	busy   bool // its rows are being read
	writes bool
}

// writes reports whether a statement changes rows.
func writes(query string) bool {
	first, rest, _ := strings.Cut(strings.TrimSpace(query), " ")
	switch first {
	case "INSERT", "UPDATE", "DELETE":
		return true
	case "WITH":
		return strings.Contains(rest, "UPDATE ") || strings.Contains(rest, "DELETE FROM ") || strings.Contains(rest, "INSERT INTO ")
	}
	return false
}

// BeginTx begins a transaction that writes, when it is its turn.
func (c *parsedConn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	taken, err := c.turn.take(ctx)
	if err != nil {
		return nil, err
	}
	tx, err := c.sqliteConn.BeginTx(ctx, o)
	if err != nil {
		if taken {
			c.turn.give()
		}
		return nil, err
	}
	c.within = true
	return &parsedTx{tx, c, taken}, nil
}

type parsedTx struct {
	driver.Tx
	of    *parsedConn
	taken bool
}

func (t *parsedTx) Commit() error {
	defer t.ended()
	return t.Tx.Commit()
}

func (t *parsedTx) Rollback() error {
	defer t.ended()
	return t.Tx.Rollback()
}

func (t *parsedTx) ended() {
	t.of.within = false
	if t.taken {
		t.taken = false
		t.of.turn.give()
	}
}

// alone takes the turn for a statement that writes outside a transaction.
func (c *parsedConn) alone(ctx context.Context, s *parsedStmt) (taken bool, err error) {
	if c.within || !s.writes {
		return false, nil
	}
	return c.turn.take(ctx)
}

// ready finds the parsed statement, nil where it is in use or can't be kept.
func (c *parsedConn) ready(ctx context.Context, query string) (*parsedStmt, error) {
	if s := c.parsed[query]; s != nil {
		if s.busy {
			return nil, nil
		}
		return s, nil
	}
	if len(c.parsed) >= parsedKept {
		for text, s := range c.parsed { // whichever: one that is needed comes back
			if !s.busy {
				delete(c.parsed, text)
				if err := s.Close(); err != nil {
					return nil, err
				}
				break
			}
		}
	}
	stmt, err := c.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	all, ok := stmt.(sqliteStmt)
	if !ok {
		return nil, stmt.Close()
	}
	s := &parsedStmt{sqliteStmt: all, writes: writes(query)}
	c.parsed[query] = s
	return s, nil
}

// ExecContext runs a statement.
func (c *parsedConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	if len(args) == 0 { // settings, scripts, and what changes the form of tables
		return c.sqliteConn.ExecContext(ctx, query, args)
	}
	s, err := c.ready(ctx, query)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return c.sqliteConn.ExecContext(ctx, query, args)
	}
	taken, err := c.alone(ctx, s)
	if err != nil {
		return nil, err
	}
	if taken {
		defer c.turn.give()
	}
	return s.ExecContext(ctx, args)
}

// QueryContext asks.
func (c *parsedConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	if len(args) == 0 {
		return c.sqliteConn.QueryContext(ctx, query, args)
	}
	s, err := c.ready(ctx, query)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return c.sqliteConn.QueryContext(ctx, query, args)
	}
	taken, err := c.alone(ctx, s)
	if err != nil {
		return nil, err
	}
	rows, err := s.QueryContext(ctx, args)
	if err != nil {
		if taken {
			c.turn.give()
		}
		return nil, err
	}
	s.busy = true
	return &parsedRows{rows, s, c.turn, taken}, nil
}

// Close forgets what was parsed, and lets go of the file.
func (c *parsedConn) Close() error {
	var err error
	for _, s := range c.parsed {
		err = errors.Join(err, s.Close())
	}
	c.parsed = nil
	return errors.Join(err, c.sqliteConn.Close())
}

type parsedRows struct {
	driver.Rows
	of    *parsedStmt
	turn  turn
	taken bool
}

// Close makes the statement free for the next.
func (r *parsedRows) Close() error {
	r.of.busy = false
	err := r.Rows.Close()
	if r.taken { // what a statement wrote is whole when its rows are closed
		r.taken = false
		r.turn.give()
	}
	return err
}
