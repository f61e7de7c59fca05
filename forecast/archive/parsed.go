package archive

import (
	"context"
	"database/sql/driver"
	"errors"

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
}

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
	return &parsedConn{sqliteConn: all, parsed: map[string]*parsedStmt{}}, nil
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
	parsed map[string]*parsedStmt
}

type parsedStmt struct {
	sqliteStmt
	busy bool // its rows are being read
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
	s := &parsedStmt{sqliteStmt: all}
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
	rows, err := s.QueryContext(ctx, args)
	if err != nil {
		return nil, err
	}
	s.busy = true
	return &parsedRows{rows, s}, nil
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
	of *parsedStmt
}

// Close makes the statement free for the next.
func (r *parsedRows) Close() error {
	r.of.busy = false
	return r.Rows.Close()
}
