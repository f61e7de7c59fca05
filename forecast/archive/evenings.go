package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"
)

// PutEvening keeps what an evening said, as JSON; the first that is kept of a
// local date stays: it is what people were told.
func (a *Archive) PutEvening(ctx context.Context, site, date string, said any) error {
	document, err := json.Marshal(said)
	if err != nil {
		return fmt.Errorf("evening %s: %w", date, err)
	}
	return a.within(ctx, "keep the evening in", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO evening (site, date, document) VALUES (?1, ?2, ?3) ON CONFLICT (site, date) DO NOTHING`, site, date, string(document))
		return err
	})
}

// Evenings lists the documents of a site's evenings from a local date on, the
// oldest first.
func (a *Archive) Evenings(ctx context.Context, site, from string) (out []json.RawMessage, err error) {
	err = a.asked(ctx, "read evenings from", eveningsFrom(site, from, &out))
	return out, err
}

func eveningsFrom(site, from string, into *[]json.RawMessage) *Question {
	return &Question{Query: `SELECT document FROM evening WHERE site = ?1 AND date >= ?2 ORDER BY date`, Args: []any{site, from}, Read: gather(into, func(rows *sql.Rows) (json.RawMessage, error) {
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
