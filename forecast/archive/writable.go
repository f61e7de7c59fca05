package archive

import (
	"context"
	"database/sql"
	"strings"
	"time"
)

// ballast is more than any page has left over: a row that lies in place already
// could be written where nothing else can.
const ballast = 16 << 10

// TryWriting writes one row, the same each time, and says what keeps it from that,
// such as a full disk. The row is made as large as a few pages on the way.
func (a *Archive) TryWriting(ctx context.Context, now time.Time) error {
	return a.within(ctx, "write to", func(tx *sql.Tx) error {
		for _, value := range []string{strings.Repeat(" ", ballast), now.UTC().Format(instant)} {
			if _, err := tx.ExecContext(ctx, `INSERT INTO kept_value (name, value) VALUES ('tried_writing', ?1) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, value); err != nil {
				return err
			}
		}
		return nil
	})
}
