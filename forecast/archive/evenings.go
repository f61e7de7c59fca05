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
func (a *Archive) Evenings(ctx context.Context, site, from string) ([]json.RawMessage, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT document FROM evening WHERE site = ?1 AND date >= ?2 ORDER BY date`, site, from)
	if err != nil {
		return nil, a.told("read evenings from", err)
	}
	defer rows.Close()
	var out []json.RawMessage
	for rows.Next() {
		var document string
		if err := rows.Scan(&document); err != nil {
			return nil, a.told("read evenings from", err)
		}
		out = append(out, json.RawMessage(document))
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read evenings from", err)
	}
	return out, nil
}

// ForgetEvenings drops a site's evenings from before a moment.
func (a *Archive) ForgetEvenings(ctx context.Context, site string, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM evening WHERE site = ?1 AND date < ?2`, site, before.UTC().Format(time.DateOnly))
		return err
	})
}
