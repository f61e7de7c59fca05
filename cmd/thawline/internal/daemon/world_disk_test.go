package daemon

import (
	"bytes"
	"context"
	"database/sql/driver"
	"errors"
	"io"
	"strings"
	"sync/atomic"
)

// faultyDB is a database whose statements fail as a world says: before anything is done,
// or by the end of the program before or after it.
type faultyDB struct {
	inner driver.Driver
	dsn   string
	world atomic.Pointer[world]
}

// Connect opens a connection.
func (f *faultyDB) Connect(context.Context) (driver.Conn, error) {
	c, err := f.inner.Open(f.dsn)
	if err != nil {
		return nil, err
	}
	return &faultyConn{c, f}, nil
}

// Driver is the driver below.
func (f *faultyDB) Driver() driver.Driver { return f.inner }

type faultyConn struct {
	driver.Conn
	f *faultyDB
}

var errDisk = errors.New("disk I/O error")

func goesOn() error { return nil }

// before fails a statement, or ends its daemon; after is to be called once it is done, and
// fails where the daemon ended then: it hears nothing of what came of it.
func (c *faultyConn) before(ctx context.Context, query string) (after func() error, err error) {
	w := c.f.world.Load()
	n, _ := ctx.Value(nodeKey{}).(*node)
	if w == nil || n == nil || w.calm {
		return goesOn, nil
	}
	verb, _, _ := strings.Cut(strings.TrimSpace(query), " ")
	switch x := w.draw("disk", n.name, verb); {
	case x < 0.004:
		w.mu.Lock()
		w.troubles++
		w.mu.Unlock()
		return nil, errDisk
	case x < 0.006:
		n.down("before a statement")
		return nil, ctx.Err()
	case x < 0.008:
		return func() error { n.down("after a statement"); return ctx.Err() }, nil
	}
	return goesOn, nil
}

func (c *faultyConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	after, err := c.before(ctx, query)
	if err != nil {
		return nil, err
	}
	r, err := c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
	if ended := after(); ended != nil {
		return nil, ended
	}
	return r, err
}

func (c *faultyConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	after, err := c.before(ctx, query)
	if err != nil {
		return nil, err
	}
	rows, err := c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
	if err != nil {
		return nil, errors.Join(err, after())
	}
	// Rows are read at once: else it is by chance how many somebody who ends has read.
	all, err := readAll(rows)
	if ended := after(); ended != nil {
		return nil, ended
	}
	return all, err
}

func (c *faultyConn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	return c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, query)
}

func (c *faultyConn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	tx, err := c.Conn.(driver.ConnBeginTx).BeginTx(ctx, o)
	if err != nil {
		return nil, err
	}
	return &faultyTx{tx, c, ctx}, nil
}

type faultyTx struct {
	driver.Tx
	c   *faultyConn
	ctx context.Context
}

// Commit may not happen, or be the last thing that the program did.
func (t *faultyTx) Commit() error {
	after, err := t.c.before(t.ctx, "COMMIT")
	if err != nil {
		return errors.Join(err, t.Rollback())
	}
	err = t.Tx.Commit()
	if ended := after(); ended != nil {
		return ended
	}
	return err
}

// readRows are rows that have been read.
type readRows struct {
	columns []string
	rows    [][]driver.Value
}

func readAll(from driver.Rows) (driver.Rows, error) {
	all := &readRows{columns: from.Columns()}
	for {
		row := make([]driver.Value, len(all.columns))
		err := from.Next(row)
		if errors.Is(err, io.EOF) {
			return all, from.Close()
		}
		if err != nil {
			return nil, errors.Join(err, from.Close())
		}
		for i := range row {
			if b, is := row[i].([]byte); is {
				row[i] = bytes.Clone(b)
			}
		}
		all.rows = append(all.rows, row)
	}
}

// Columns, Close and Next are those of driver.Rows.
func (r *readRows) Columns() []string { return r.columns }

// Close is of no effect.
func (r *readRows) Close() error { return nil }

// Next gives the next row.
func (r *readRows) Next(into []driver.Value) error {
	if len(r.rows) == 0 {
		return io.EOF
	}
	copy(into, r.rows[0])
	r.rows = r.rows[1:]
	return nil
}
