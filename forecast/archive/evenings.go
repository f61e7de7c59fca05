package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"
)

// Evenings lists the documents of a site's evenings from a local date on, the
// oldest first.
func (a *Archive) Evenings(ctx context.Context, site, from string) (out []json.RawMessage, err error) {
	err = a.asked(ctx, "read evenings from", eveningsFrom(site, from, &out))
	return out, err
}

func eveningsFrom(site, from string, into *[]json.RawMessage) *Question {
	return &Question{Query: `SELECT document FROM evening WHERE site = ?1 AND date >= ?2 ORDER BY date`, Args: []any{site, from},
		Read: gather(into, func(rows *sql.Rows) (json.RawMessage, error) {
			var document string
			err := rows.Scan(&document)
			return json.RawMessage(document), err
		})}
}

// ForgetEvenings drops a site's evenings from before a moment.
func (a *Archive) ForgetEvenings(ctx context.Context, site string, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM evening WHERE site = ?1 AND date < ?2`, site, before.UTC().Format(time.DateOnly))
		return err
	})
}
