package archive

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"thawline/forecast/records"
)

// PutLevel keeps a reading of a tank's gauge. The same one twice is one.
func (a *Archive) PutLevel(ctx context.Context, site, tank string, l records.Level) error {
	return a.within(ctx, "keep a tank's level in", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO tank_level (site, tank, at, litres) VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING`,
			site, tank, l.At.UTC().Format(instant), l.Litres)
		return err
	})
}

// Levels are a tank's readings of a stretch of time, oldest first, with the last
// one before it in front.
func (a *Archive) Levels(ctx context.Context, site, tank string, from, to time.Time) (levels []records.Level, err error) {
	rows, err := a.db.QueryContext(ctx, `SELECT at, litres FROM tank_level WHERE site = ?1 AND tank = ?2 AND at < ?4
		AND at >= COALESCE((SELECT MAX(at) FROM tank_level WHERE site = ?1 AND tank = ?2 AND at < ?3), ?3) ORDER BY at`,
		site, tank, from.UTC().Format(instant), to.UTC().Format(instant))
	if err != nil {
		return nil, a.told("read a tank's levels from", err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var at string
		var l records.Level
		if err := rows.Scan(&at, &l.Litres); err != nil {
			return nil, a.told("read a tank's levels from", err)
		}
		if l.At, err = time.Parse(instant, at); err != nil {
			return nil, fmt.Errorf("level of tank %s at %s: %w", tank, at, err)
		}
		levels = append(levels, l)
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read a tank's levels from", err)
	}
	return levels, nil
}

// Tidy removes readings of gauges from before a moment, which have become
// records by then, and lets the database look after its indexes.
func (a *Archive) Tidy(ctx context.Context, before time.Time) error {
	return a.within(ctx, "tidy", func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `DELETE FROM tank_level WHERE at < ?1`, before.UTC().Format(instant)); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM thermometer_reading WHERE at < ?1`, before.UTC().Format(instant)); err != nil {
			return err
		}
		if a.postgres { // which looks after itself
			return nil
		}
		_, err := tx.ExecContext(ctx, `PRAGMA optimize`)
		return err
	})
}
