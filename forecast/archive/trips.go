package archive

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
)

// Question is one statement of several that go to PostgreSQL in one round trip.
type Question struct {
	Query string
	Args  []any
	Read  func(*sql.Rows) error // reads one row; nil where none come
	Err   error                 // what went wrong with this one
}

// Queryer is a database or a transaction.
type Queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// Trips reports whether a database is one whose questions can go together.
func Trips(db *sql.DB) bool {
	_, can := db.Driver().(numberedDriver)
	return can
}

// Together asks questions in their order; where trips are possible in one, all or nothing.
// It returns the first fault, after which the rest is not asked.
func Together(ctx context.Context, db Queryer, trips bool, list ...*Question) error {
	if !trips || len(list) == 1 {
		for _, q := range list {
			if q.Err = ask(ctx, db, q); q.Err != nil {
				return q.Err
			}
		}
		return nil
	}
	rows, err := db.QueryContext(ctx, severalQuestions, &trip{list})
	if err != nil {
		return err
	}
	defer rows.Close()
	for _, q := range list {
		if q.Err = readAll(rows, q); q.Err != nil {
			return q.Err
		}
		rows.NextResultSet()
	}
	return rows.Err()
}

// Each asks questions in their order, of which one may fail without the others: their
// faults are in them.
func (a *Archive) Each(ctx context.Context, list ...*Question) {
	if a.postgres && Together(ctx, a.db, true, list...) == nil {
		return
	}
	for _, q := range list {
		q.Err = ask(ctx, a.db, q)
	}
}

// write writes several things together; where one of them can't be written the others are by
// themselves, and its fault is in it.
func (a *Archive) write(ctx context.Context, list ...*Question) {
	together := func(tx *sql.Tx) error { return Together(ctx, tx, false, list...) }
	if a.postgres && Together(ctx, a.db, true, list...) == nil || !a.postgres && a.within(ctx, "write to", together) == nil {
		return
	}
	for _, q := range list {
		q.Err = ask(ctx, a.db, q)
	}
}

// asked asks one question, and words its fault.
func (a *Archive) asked(ctx context.Context, doing string, q *Question) error {
	if err := ask(ctx, a.db, q); err != nil {
		return a.told(doing, err)
	}
	return nil
}

func ask(ctx context.Context, db Queryer, q *Question) error {
	rows, err := db.QueryContext(ctx, q.Query, q.Args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	return readAll(rows, q)
}

func readAll(rows *sql.Rows, q *Question) error {
	for rows.Next() {
		if q.Read == nil {
			continue
		}
		if err := q.Read(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// gather reads rows into a list.
func gather[T any](into *[]T, scan func(*sql.Rows) (T, error)) func(*sql.Rows) error {
	*into = nil
	return func(rows *sql.Rows) error {
		one, err := scan(rows)
		if err == nil {
			*into = append(*into, one)
		}
		return err
	}
}

type laterKey struct{}

// Later is a context for statements of a transaction whose outcome nobody looks at: to
// PostgreSQL they go together with the next statement or the end of the transaction, which
// fails if they do.
func Later(ctx context.Context) context.Context { return context.WithValue(ctx, laterKey{}, true) }

// severalQuestions stands for the text of a trip, whose questions are its argument.
const severalQuestions = "-- several questions in one round trip"

type trip struct{ list []*Question }

// numberedDriver is that of connections that can make trips.
type numberedDriver struct{ driver.Driver }

// statement waits for the next trip.
type statement struct {
	query string
	args  []any
}

// send makes one trip: first what waits, whose outcome only matters if it fails, then the
// statements, which are read by rows.
func (c *numberedConn) send(ctx context.Context, list []statement, read func(pgx.BatchResults) error) (err error) {
	conn := c.Conn.Conn()
	if conn.IsClosed() {
		return driver.ErrBadConn
	}
	waited := c.waits
	c.waits = nil
	var batch pgx.Batch
	for _, s := range append(waited, list...) {
		args := slices.Clone(s.args)
		for i := range args {
			if text, is := args[i].(string); is {
				args[i] = Plain(text)
			}
		}
		batch.Queue(dollars(s.query), args...)
	}
	results := conn.SendBatch(ctx, &batch)
	defer func() {
		if closed := results.Close(); err == nil {
			err = closed
		}
		if err != nil && pgconn.SafeToRetry(err) {
			err = driver.ErrBadConn
		}
	}()
	for range waited {
		if _, err := results.Exec(); err != nil {
			return err
		}
	}
	return read(results)
}

// query makes a trip whose rows are read at once, so that the connection is free again.
func (c *numberedConn) query(ctx context.Context, list []statement) (driver.Rows, error) {
	out := &answers{}
	err := c.send(ctx, list, func(results pgx.BatchResults) error {
		for range list {
			rows, err := results.Query()
			if err != nil {
				return err
			}
			one, err := answerOf(rows, c.Conn.Conn().TypeMap())
			if err != nil {
				return err
			}
			out.sets = append(out.sets, one)
		}
		return nil
	})
	return out, err
}

// answer is what one statement gave.
type answer struct {
	columns []string
	rows    [][]driver.Value
}

func answerOf(rows pgx.Rows, types *pgtype.Map) (a answer, err error) {
	defer rows.Close()
	for rows.Next() {
		fields := rows.FieldDescriptions()
		values, err := rows.Values()
		if err != nil {
			return a, err
		}
		row := make([]driver.Value, len(values))
		for i, v := range values {
			if row[i], err = plain(v, fields[i].DataTypeOID, types); err != nil {
				return a, err
			}
		}
		a.rows = append(a.rows, row)
	}
	for _, f := range rows.FieldDescriptions() {
		a.columns = append(a.columns, f.Name)
	}
	return a, rows.Err()
}

// plain is a value as database/sql knows it: of a kind that it does not know, such as JSON
// or a list, the text.
func plain(v any, oid uint32, types *pgtype.Map) (driver.Value, error) {
	switch x := v.(type) {
	case int16:
		return int64(x), nil
	case int32:
		return int64(x), nil
	case float32:
		return float64(x), nil
	case driver.Valuer:
		return x.Value()
	}
	if driver.IsValue(v) {
		return v, nil
	}
	text, err := types.Encode(oid, pgtype.TextFormatCode, v, nil)
	if err != nil {
		return nil, fmt.Errorf("database: a value of another kind: %w", err)
	}
	return string(text), nil
}

// answers are the results of one trip, one after the other.
type answers struct {
	sets []answer
	row  int
}

func (a *answers) Columns() []string      { return a.sets[0].columns }
func (a *answers) Close() error           { return nil }
func (a *answers) HasNextResultSet() bool { return len(a.sets) > 1 }
func (a *answers) NextResultSet() error {
	if len(a.sets) < 2 {
		return io.EOF
	}
	a.sets, a.row = a.sets[1:], 0
	return nil
}

func (a *answers) Next(dest []driver.Value) error {
	if a.row >= len(a.sets[0].rows) {
		return io.EOF
	}
	copy(dest, a.sets[0].rows[a.row])
	a.row++
	return nil
}

// BeginTx begins a transaction with its first statement.
func (c *numberedConn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	if o != (driver.TxOptions{}) {
		return c.Conn.BeginTx(ctx, o)
	}
	if c.Conn.Conn().IsClosed() {
		return nil, driver.ErrBadConn
	}
	c.waits = []statement{{query: "begin"}}
	return lateTx{ctx, c}, nil
}

// lateTx is a transaction whose statements may wait for its end.
type lateTx struct {
	ctx context.Context
	c   *numberedConn
}

// inTransaction reports whether the other side has heard of a transaction.
func (c *numberedConn) inTransaction() bool { return c.Conn.Conn().PgConn().TxStatus() != 'I' }

func (t lateTx) Commit() error {
	if !t.c.inTransaction() && len(t.c.waits) <= 1 {
		t.c.waits = nil
		return nil
	}
	err := t.c.send(t.ctx, []statement{{query: "commit"}}, func(results pgx.BatchResults) error {
		tag, err := results.Exec()
		if err == nil && tag.String() == "ROLLBACK" {
			return pgx.ErrTxCommitRollback
		}
		return err
	})
	if err != nil {
		return errors.Join(err, t.Rollback())
	}
	return nil
}

func (t lateTx) Rollback() error {
	t.c.waits = nil
	conn := t.c.Conn.Conn()
	if conn.IsClosed() || !t.c.inTransaction() {
		return nil
	}
	const patience = 5 * time.Second
	ctx, cancel := context.WithTimeout(context.WithoutCancel(t.ctx), patience)
	defer cancel()
	_, err := conn.Exec(ctx, "rollback")
	return err
}
