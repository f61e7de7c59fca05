package archive

import (
	"context"
	"database/sql"
)

// noteChange counts a write to the records of a site, in the same transaction.
func noteChange(ctx context.Context, tx *sql.Tx, site string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO site_changes (site, number) VALUES (?1, 1)
		ON CONFLICT (site) DO UPDATE SET number = site_changes.number + 1`, site)
	return err
}

// Changes counts the writes to the records of each site, by whichever program. Sites
// whose records nobody has touched are missing.
func (a *Archive) Changes(ctx context.Context) (map[string]int64, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT site, number FROM site_changes`)
	if err != nil {
		return nil, a.told("read what has changed from", err)
	}
	defer rows.Close()
	changes := map[string]int64{}
	for rows.Next() {
		var site string
		var number int64
		if err := rows.Scan(&site, &number); err != nil {
			return nil, a.told("read what has changed from", err)
		}
		changes[site] = number
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read what has changed from", err)
	}
	return changes, nil
}

// ChangesTogether counts the writes to the records of all sites together: quick to ask
// often.
func (a *Archive) ChangesTogether(ctx context.Context) (number int64, err error) {
	if !a.postgres { // a file answers at once, and nobody need wake up to see whether it still should
		ctx = context.WithoutCancel(ctx)
	}
	if err := a.db.QueryRowContext(ctx, `SELECT CAST(COALESCE(SUM(number), 0) AS BIGINT) FROM site_changes`).Scan(&number); err != nil {
		return 0, a.told("read what has changed from", err)
	}
	return number, nil
}

// ChangesOf counts the writes to the records of one site.
func (a *Archive) ChangesOf(ctx context.Context, site string) (number int64, err error) {
	err = a.asked(ctx, "read what has changed from", changesOf(site, &number))
	return number, err
}

func changesOf(site string, into *int64) *Question {
	return &Question{Query: `SELECT number FROM site_changes WHERE site = ?1`, Args: []any{site},
		Read: func(rows *sql.Rows) error { return rows.Scan(into) }}
}

// Written receives after this program has written records; several writes in a row may
// be one. There is one receiver.
func (a *Archive) Written() <-chan struct{} { return a.written }

// writeRecords runs do in one transaction, as within does, and wakes the receiver of
// Written afterwards.
func (a *Archive) writeRecords(ctx context.Context, do func(tx *sql.Tx) error) error {
	if err := a.within(ctx, "write records to", do); err != nil {
		return err
	}
	a.noteWritten()
	return nil
}

// noteWritten wakes the receiver of Written, if it is not awake already.
func (a *Archive) noteWritten() {
	select {
	case a.written <- struct{}{}:
	default:
	}
}
