package archive

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"thawline/forecast/records"
)

// Undo gives back what a visit said before its last change.
func (a *Archive) Undo(ctx context.Context, id, by string, now time.Time) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		var v records.Visit
		var now1, removed int64
		var volume, brix sql.NullFloat64
		err := tx.QueryRowContext(ctx, `SELECT v.revision, b.taps, b.volume_l, b.brix_pct, b.note, b.removed FROM visit v
			JOIN visit_before b ON b.visit_id = v.id WHERE v.id = ?1 ORDER BY b.revision DESC LIMIT 1`, id).Scan(&now1, &v.Taps, &volume, &brix, &v.Note, &removed)
		if errors.Is(err, sql.ErrNoRows) {
			return ErrNoVisit
		}
		if err != nil {
			return err
		}
		v.VolumeL, v.BrixPct = number(volume), number(brix)
		return revise(ctx, tx, id, now1, &v, removed != 0, by, now.UTC().Format(instant))
	})
}

// UndoSince gives all records of a site, "" for all sites, back as they were at a
// moment: what was changed or removed since says again what it said then, what was
// added is taken out of the lists. It tells how many it touched.
func (a *Archive) UndoSince(ctx context.Context, site string, since time.Time, by string, now time.Time) (touched int, err error) {
	err = a.writeRecords(ctx, func(tx *sql.Tx) error {
		touched = 0
		type changed struct {
			id       string
			revision int64
			removed  int64
			visit    records.Visit
		}
		rows, err := tx.QueryContext(ctx,
			`SELECT id, revision, removed, taps, volume_l, brix_pct, note FROM visit WHERE recorded_at >= ?1 AND (?2 = '' OR site = ?2)`, since.UTC().Format(instant), site)
		if err != nil {
			return err
		}
		var list []changed
		for rows.Next() {
			var c changed
			var volume, brix sql.NullFloat64
			if err := rows.Scan(&c.id, &c.revision, &c.removed, &c.visit.Taps, &volume, &brix, &c.visit.Note); err != nil {
				return errors.Join(err, rows.Close())
			}
			c.visit.VolumeL, c.visit.BrixPct = number(volume), number(brix)
			list = append(list, c)
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return err
		}
		for i := range list {
			c := &list[i]
			then, removed := c.visit, int64(1) // added since, if nothing was said before
			var volume, brix sql.NullFloat64
			err := tx.QueryRowContext(ctx,
				`SELECT taps, volume_l, brix_pct, note, removed FROM visit_before WHERE visit_id = ?1 AND recorded_at < ?2 ORDER BY revision DESC LIMIT 1`,
				c.id, since.UTC().Format(instant)).Scan(&then.Taps, &volume, &brix, &then.Note, &removed)
			if err == nil {
				then.VolumeL, then.BrixPct = number(volume), number(brix)
			} else if !errors.Is(err, sql.ErrNoRows) {
				return err
			}
			if removed == c.removed && alike(&then, &c.visit) {
				continue
			}
			if err := revise(ctx, tx, c.id, c.revision, &then, removed != 0, by, now.UTC().Format(instant)); err != nil {
				return err
			}
			touched++
		}
		taps, err := undoTapsSince(ctx, tx, site, since.UTC().Format(instant), by, now.UTC().Format(instant))
		touched += taps
		if err != nil {
			return err
		}
		seen, err := undoObservationsSince(ctx, tx, site, since.UTC().Format(instant), by, now.UTC().Format(instant))
		touched += seen
		return err
	})
	return touched, err
}

// UndoEntry takes an entry back: what it added is taken out of the lists, what it
// corrected says again what it said before. What somebody has changed since stays as it
// is. It returns the visits that were taken back, as they are now.
func (a *Archive) UndoEntry(ctx context.Context, site string, entry int64, zone *time.Location, by string,
	now time.Time) (back []Stored, changed int, err error) {
	stamp := now.UTC().Format(instant)
	err = a.writeRecords(ctx, func(tx *sql.Tx) error {
		back, changed = nil, 0
		done, err := tx.ExecContext(ctx, `UPDATE entry SET undone_at = ?3 WHERE site = ?1 AND number = ?2 AND undone_at = ''`, site,
			entry, stamp)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, ErrNoEntry)
		}
		stored, err := storedIn(ctx, tx, zone,
			storedColumns+` WHERE id IN (SELECT visit_id FROM entry_visit WHERE site = ?1 AND number = ?2 AND revision > 0) ORDER BY collected_at, taps_group`, site, entry)
		if err != nil {
			return err
		}
		for i := range stored {
			s := &stored[i]
			var before, last int64
			if err := tx.QueryRowContext(ctx,
				`SELECT MIN(before), MAX(revision) FROM entry_visit WHERE site = ?1 AND number = ?2 AND visit_id = ?3 AND revision > 0`,
				site, entry, s.ID).Scan(&before, &last); err != nil {
				return err
			}
			if int64(s.Revision) != last {
				changed++
				continue
			}
			then, removed := s.Visit, int64(1) // added, if nothing was said before
			var volume, brix sql.NullFloat64
			err := tx.QueryRowContext(ctx,
				`SELECT taps, volume_l, brix_pct, note, removed FROM visit_before WHERE visit_id = ?1 AND revision = ?2`, s.ID,
				before).Scan(&then.Taps, &volume, &brix, &then.Note, &removed)
			if err == nil {
				then.VolumeL, then.BrixPct = number(volume), number(brix)
			} else if !errors.Is(err, sql.ErrNoRows) {
				return err
			}
			if err := revise(ctx, tx, s.ID, int64(s.Revision), &then, removed != 0, by, stamp); err != nil {
				return err
			}
			// It says again what the entry before this one wrote, which may be taken back next.
			if _, err := tx.ExecContext(ctx, `UPDATE entry_visit SET revision = ?3 WHERE visit_id = ?1 AND revision = ?2 AND ?2 > 0`,
				s.ID, before, s.Revision+1); err != nil {
				return err
			}
			s.Visit, s.Removed, s.Revision = then, removed != 0, s.Revision+1
			back = append(back, *s)
		}
		return nil
	})
	return back, changed, err
}
