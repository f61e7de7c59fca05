package engine

import (
	"context"
	"database/sql"
	"fmt"
	"sync"
	"time"
)

// Instant is how moments are written in the tables, in UTC.
const Instant = "2006-01-02T15:04:05.000Z"

func stamp(t time.Time) string { return t.UTC().Format(Instant) }

// DatabaseClock shows the time of a PostgreSQL server to all daemons that share it,
// whatever their own machines show. Between two looks at it the time is counted by this
// machine's monotonic clock, which nobody sets. It is never ahead of the server by more
// than the two drift apart, and behind by no more than an answer takes.
type DatabaseClock struct {
	db   *sql.DB
	wall func() time.Time

	mu     sync.Mutex
	server time.Time // at the last look
	own    time.Time // then, on this machine
}

// OpenClock looks at the server's clock for the first time. wall is this machine's own
// clock.
func OpenClock(ctx context.Context, db *sql.DB, wall func() time.Time) (*DatabaseClock, error) {
	c := &DatabaseClock{db: db, wall: wall}
	return c, c.Look(ctx)
}

// Look reads the server's clock.
func (c *DatabaseClock) Look(ctx context.Context) error {
	var micros int64
	if err := c.db.QueryRowContext(ctx, `SELECT CAST(EXTRACT(EPOCH FROM clock_timestamp()) * 1000000 AS BIGINT)`).Scan(
		&micros); err != nil {
		return fmt.Errorf("the database's clock: %w", err)
	}
	own := c.wall()
	c.mu.Lock()
	defer c.mu.Unlock()
	c.server, c.own = time.UnixMicro(micros).UTC(), own
	return nil
}

// Now is the server's time.
func (c *DatabaseClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.server.Add(c.wall().Sub(c.own))
}

// Follow looks again every so often until the context ends, so that clocks that drift
// stay together. Where the server is away the last look counts on.
func (c *DatabaseClock) Follow(ctx context.Context, every time.Duration) {
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			look, cancel := context.WithTimeout(ctx, every)
			_ = c.Look(look) // whoever needs the database says that it is away
			cancel()
		}
	}
}
