package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
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

// PutEvening keeps what an evening says of its date, unless one is kept of it already.
func (a *Archive) PutEvening(ctx context.Context, site, date string, evening any) error {
	q, err := eveningPut(site, date, evening)
	if err != nil {
		return err
	}
	a.write(ctx, q)
	if q.Err != nil {
		return a.told("keep the evening in", q.Err)
	}
	return nil
}

func eveningPut(site, date string, evening any) (*Question, error) {
	said, err := json.Marshal(evening)
	if err != nil {
		return nil, fmt.Errorf("evening %s: %w", date, err)
	}
	return &Question{Query: `INSERT INTO evening (site, date, document) VALUES (?1, ?2, ?3) ON CONFLICT (site, date) DO NOTHING`,
		Args: []any{site, date, string(said)}}, nil
}

// ForgetEvenings drops a site's evenings from before a moment.
func (a *Archive) ForgetEvenings(ctx context.Context, site string, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM evening WHERE site = ?1 AND date < ?2`, site, before.UTC().Format(time.DateOnly))
		return err
	})
}
