package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"thawline/forecast/records"
)

// PutClass books a visit of a class; the same day and hours again are the same visit.
func (a *Archive) PutClass(ctx context.Context, c records.ClassVisit, by string, now time.Time) (records.ClassVisit, Outcome, error) {
	outcome := Added
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		var booked string
		day, from, to := c.Day.Format(time.DateOnly), int(c.From.Minutes()), int(c.To.Minutes())
		err := tx.QueryRowContext(ctx, `SELECT id, learners, recorded_at FROM class_visit WHERE removed = 0 AND site = ?1 AND day = ?2 AND from_min = ?3 AND to_min = ?4`, c.Site, day, from, to).Scan(&c.ID, &c.Learners, &booked)
		if err == nil {
			outcome = Same
			c.BookedAt, err = time.Parse(instant, booked)
			return err
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		fresh, err := uuid.NewV7()
		if err != nil {
			return fmt.Errorf("name a visit: %w", err)
		}
		c.ID, c.BookedAt, outcome = fresh.String(), now, Added
		_, err = tx.ExecContext(ctx, `INSERT INTO class_visit (id, site, day, from_min, to_min, learners, removed, recorded_at, recorded_by) VALUES (?1, ?2, ?3, ?4, ?5, ?6, 0, ?7, ?8)`,
			c.ID, c.Site, day, from, to, c.Learners, now.UTC().Format(instant), by)
		return errors.Join(err, noteChange(ctx, tx, c.Site))
	})
	return c, outcome, err
}

// RemoveClass takes a visit of a site back. ErrNoEntry where the site has none of that id.
func (a *Archive) RemoveClass(ctx context.Context, site, id string) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, `UPDATE class_visit SET removed = 1 WHERE id = ?1 AND site = ?2 AND removed = 0`, id, site)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, ErrNoEntry)
		}
		return noteChange(ctx, tx, site)
	})
}

// Classes lists the visits that are booked at a site from the local date of a moment on, in
// their order.
func (a *Archive) Classes(ctx context.Context, site string, from time.Time, zone *time.Location) ([]records.ClassVisit, error) {
	var out []records.ClassVisit
	if err := Together(ctx, a.db, a.postgres, classesFrom(site, from, zone, &out)); err != nil {
		return nil, a.told("read visits of classes from", err)
	}
	return out, nil
}

func classesFrom(site string, from time.Time, zone *time.Location, into *[]records.ClassVisit) *Question {
	return &Question{Query: `SELECT id, site, day, from_min, to_min, learners, recorded_at FROM class_visit WHERE removed = 0 AND site = ?1 AND day >= ?2 ORDER BY day, from_min, id`, Args: []any{site, from.In(zone).Format(time.DateOnly)}, Read: func(rows *sql.Rows) error {
		var c records.ClassVisit
		var day, at string
		var first, last int64
		if err := rows.Scan(&c.ID, &c.Site, &day, &first, &last, &c.Learners, &at); err != nil {
			return err
		}
		var err error
		if c.Day, err = time.ParseInLocation(time.DateOnly, day, zone); err != nil {
			return err
		}
		if c.BookedAt, err = time.Parse(instant, at); err != nil {
			return err
		}
		c.From, c.To = time.Duration(first)*time.Minute, time.Duration(last)*time.Minute
		*into = append(*into, c)
		return nil
	}}
}

// PutGuess keeps what a class guessed of a day.
func (a *Archive) PutGuess(ctx context.Context, g records.ClassGuess) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		fresh, err := uuid.NewV7()
		if err != nil {
			return fmt.Errorf("name a guess: %w", err)
		}
		rule := 0
		if g.Rule {
			rule = 1
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO class_guess (id, site, day, hands_yes, hands_no, ours, rule, recorded_at) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)`,
			fresh.String(), g.Site, g.Day, g.Yes, g.No, g.Ours, rule, g.At.UTC().Format(instant))
		return err
	})
}

// Guesses lists what classes guessed of days of a site from a local date on, oldest first.
func (a *Archive) Guesses(ctx context.Context, site, from string) ([]records.ClassGuess, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT id, site, day, hands_yes, hands_no, ours, rule, recorded_at FROM class_guess WHERE site = ?1 AND day >= ?2 ORDER BY day, recorded_at, id`, site, from)
	if err != nil {
		return nil, a.told("read guesses from", err)
	}
	defer rows.Close()
	var out []records.ClassGuess
	for rows.Next() {
		var g records.ClassGuess
		var rule int64
		var at string
		if err := rows.Scan(&g.ID, &g.Site, &g.Day, &g.Yes, &g.No, &g.Ours, &rule, &at); err != nil {
			return nil, a.told("read guesses from", err)
		}
		g.Rule = rule != 0
		if g.At, err = time.Parse(instant, at); err != nil {
			return nil, a.told("read guesses from", err)
		}
		out = append(out, g)
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read guesses from", err)
	}
	return out, nil
}
