package daemon

import (
	"context"
	"database/sql/driver"
	"errors"
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

// before fails a statement, or ends its daemon; after is to be called once it is done.
func (c *faultyConn) before(ctx context.Context, query string) (after func(), err error) {
	w := c.f.world.Load()
	n, _ := ctx.Value(nodeKey{}).(*node)
	if w == nil || n == nil || w.calm {
		return func() {}, nil
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
		return func() { n.down("after a statement") }, nil
	}
	return func() {}, nil
}

func (c *faultyConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	after, err := c.before(ctx, query)
	if err != nil {
		return nil, err
	}
	defer after()
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
}

func (c *faultyConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	after, err := c.before(ctx, query)
	if err != nil {
		return nil, err
	}
	defer after()
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
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
	defer after()
	return t.Tx.Commit()
}
