package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// Outcome is what became of one visit that was put in.
type Outcome string

// The outcomes.
const (
	Added       Outcome = "added"
	Same        Outcome = "same"         // it was there already
	Corrected   Outcome = "corrected"    // it said something else before, which is kept
	BroughtBack Outcome = "brought_back" // it had been taken out
)

// Put is one visit and what became of it.
type Put struct {
	Visit   records.Visit
	Outcome Outcome
	Before  records.Visit // what a corrected visit said
}

// PutVisits writes visits in one transaction: all of them or none. A visit is
// named by site, group and moment: the same again adds nothing, and other
// figures for it are a correction, with what was there before kept.
func (a *Archive) PutVisits(ctx context.Context, visits []records.Visit, by string, now time.Time) ([]Put, error) {
	var puts []Put
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		puts = puts[:0]
		for _, v := range visits {
			p, err := putVisit(ctx, tx, v, by, now)
			if err != nil {
				return err
			}
			puts = append(puts, p)
		}
		return nil
	})
	return puts, err
}

const instant = "2006-01-02T15:04:05.000Z"

// moment names a visit in time: the day where only that is known.
func moment(v *records.Visit) string {
	if v.DateOnly {
		return v.CollectedAt.Format(time.DateOnly)
	}
	return v.CollectedAt.UTC().Format(instant)
}

func putVisit(ctx context.Context, tx *sql.Tx, v records.Visit, by string, now time.Time) (Put, error) {
	p := Put{Visit: v, Outcome: Added}
	var id string
	var revision, removed int64
	var volume, brix sql.NullFloat64
	before := v
	err := tx.QueryRowContext(ctx, `SELECT id, revision, removed, taps, volume_l, brix_pct, note FROM visit WHERE site = ?1 AND taps_group = ?2 AND moment = ?3`,
		v.Site, v.Group, moment(&v)).Scan(&id, &revision, &removed, &before.Taps, &volume, &brix, &before.Note)
	stamp := now.UTC().Format(instant)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		fresh, err := uuid.NewV7()
		if err != nil {
			return p, fmt.Errorf("name a visit: %w", err)
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO visit (id, site, taps_group, moment, collected_at, taps, volume_l, brix_pct, note, revision, removed, recorded_at, recorded_by)
			VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, 1, 0, ?10, ?11)`,
			fresh.String(), v.Site, v.Group, moment(&v), v.CollectedAt.UTC().Format(instant), v.Taps, nullable(v.VolumeL), nullable(v.BrixPct), v.Note, stamp, by)
		if err != nil {
			return p, err
		}
		return p, noteChange(ctx, tx, v.Site)
	case err != nil:
		return p, err
	}
	before.VolumeL, before.BrixPct = number(volume), number(brix)
	if removed == 0 && alike(&before, &v) {
		p.Outcome = Same
		return p, nil
	}
	p.Outcome, p.Before = Corrected, before
	if removed != 0 {
		p.Outcome = BroughtBack
	}
	return p, revise(ctx, tx, id, revision, &v, false, by, stamp)
}

// ErrChanged is what changing a visit gives that somebody else has changed since it
// was looked at.
var ErrChanged = errors.New("somebody has changed this record since")

// errOvertaken is told where another transaction has changed a visit in between: done
// again, this one sees what the other wrote.
var errOvertaken = errors.New("overtaken by another change")

// revise keeps what a visit says now and writes what it is to say, unless it is no
// longer at the revision that was read.
func revise(ctx context.Context, tx *sql.Tx, id string, revision int64, v *records.Visit, remove bool, by, stamp string) error {
	if _, err := tx.ExecContext(ctx, `INSERT INTO visit_before (visit_id, revision, taps, volume_l, brix_pct, note, removed, recorded_at, recorded_by)
		SELECT id, revision, taps, volume_l, brix_pct, note, removed, recorded_at, recorded_by FROM visit WHERE id = ?1`, id); err != nil {
		return err
	}
	gone := 0
	if remove {
		gone = 1
	}
	var site string
	err := tx.QueryRowContext(ctx, `UPDATE visit SET taps = ?2, volume_l = ?3, brix_pct = ?4, note = ?5, revision = ?6, removed = ?7, recorded_at = ?8, recorded_by = ?9 WHERE id = ?1 AND revision = ?10 RETURNING site`,
		id, v.Taps, nullable(v.VolumeL), nullable(v.BrixPct), v.Note, revision+1, gone, stamp, by, revision).Scan(&site)
	if errors.Is(err, sql.ErrNoRows) {
		return errOvertaken
	}
	if err != nil {
		return err
	}
	return noteChange(ctx, tx, site)
}

func alike(a, b *records.Visit) bool {
	same := func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) }
	return a.Taps == b.Taps && same(a.VolumeL, b.VolumeL) && same(a.BrixPct, b.BrixPct) && a.Note == b.Note
}

// Stored is a visit with its place in the archive.
type Stored struct {
	records.Visit
	ID         string
	Revision   int
	Removed    bool
	RecordedAt time.Time
	RecordedBy string
}

const storedColumns = `SELECT id, site, taps_group, moment, collected_at, taps, volume_l, brix_pct, note, revision, removed, recorded_at, recorded_by FROM visit`

func scanStored(row interface{ Scan(...any) error }, zone *time.Location) (Stored, error) {
	var s Stored
	var named, at, recorded string
	var removed int
	var volume, brix sql.NullFloat64
	err := row.Scan(&s.ID, &s.Site, &s.Group, &named, &at, &s.Taps, &volume, &brix, &s.Note, &s.Revision, &removed, &recorded, &s.RecordedBy)
	if err != nil {
		return s, err
	}
	s.VolumeL, s.BrixPct, s.Removed = number(volume), number(brix), removed != 0
	s.DateOnly = len(named) == len(time.DateOnly)
	if s.CollectedAt, err = time.Parse(instant, at); err != nil {
		return s, err
	}
	s.CollectedAt = s.CollectedAt.In(zone)
	s.RecordedAt, err = time.Parse(instant, recorded)
	return s, err
}

// Visits lists the visits of a site, "" for all, oldest first, from a moment on.
func (a *Archive) Visits(ctx context.Context, site string, from time.Time, zone *time.Location) ([]Stored, error) {
	rows, err := a.db.QueryContext(ctx, storedColumns+` WHERE removed = 0 AND (?1 = '' OR site = ?1) AND collected_at >= ?2 ORDER BY collected_at, taps_group`, site, from.UTC().Format(instant))
	if err != nil {
		return nil, a.told("read records from", err)
	}
	defer rows.Close()
	var out []Stored
	for rows.Next() {
		s, err := scanStored(rows, zone)
		if err != nil {
			return nil, a.told("read records from", err)
		}
		out = append(out, s)
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read records from", err)
	}
	return out, nil
}

// Visit is one visit, be it removed.
func (a *Archive) Visit(ctx context.Context, id string, zone *time.Location) (Stored, error) {
	s, err := scanStored(a.db.QueryRowContext(ctx, storedColumns+` WHERE id = ?1`, id), zone)
	if errors.Is(err, sql.ErrNoRows) {
		return s, ErrNoVisit
	}
	if err != nil {
		return s, a.told("read records from", err)
	}
	return s, nil
}

// ErrNoVisit is what removing or restoring a visit that is not there gives.
var ErrNoVisit = errors.New("there is no such record")

// Any stands for whatever revision a visit is at.
const Any = 0

// Correct replaces the figures of a visit that is at a revision; what they were is
// kept.
func (a *Archive) Correct(ctx context.Context, id string, revision int, figures records.Visit, by string, now time.Time) error {
	return a.change(ctx, id, revision, by, now, func(_ records.Visit) (records.Visit, bool) { return figures, false })
}

// Remove takes a visit that is at a revision out of the lists; its figures are kept.
func (a *Archive) Remove(ctx context.Context, id string, revision int, by string, now time.Time) error {
	return a.change(ctx, id, revision, by, now, func(v records.Visit) (records.Visit, bool) { return v, true })
}

func (a *Archive) change(ctx context.Context, id string, revision int, by string, now time.Time, to func(records.Visit) (fresh records.Visit, remove bool)) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		var v records.Visit
		var at int64
		var volume, brix sql.NullFloat64
		err := tx.QueryRowContext(ctx, `SELECT revision, taps, volume_l, brix_pct, note FROM visit WHERE id = ?1 AND removed = 0`, id).Scan(&at, &v.Taps, &volume, &brix, &v.Note)
		if errors.Is(err, sql.ErrNoRows) {
			return ErrNoVisit
		}
		if err != nil {
			return err
		}
		if revision != Any && at != int64(revision) {
			return ErrChanged
		}
		v.VolumeL, v.BrixPct = number(volume), number(brix)
		fresh, remove := to(v)
		if !remove && alike(&v, &fresh) {
			return nil
		}
		return revise(ctx, tx, id, at, &fresh, remove, by, now.UTC().Format(instant))
	})
}

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
		rows, err := tx.QueryContext(ctx, `SELECT id, revision, removed, taps, volume_l, brix_pct, note FROM visit WHERE recorded_at >= ?1 AND (?2 = '' OR site = ?2)`, since.UTC().Format(instant), site)
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
			err := tx.QueryRowContext(ctx, `SELECT taps, volume_l, brix_pct, note, removed FROM visit_before WHERE visit_id = ?1 AND recorded_at < ?2 ORDER BY revision DESC LIMIT 1`,
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
		return nil
	})
	return touched, err
}

// Kept is what a season's outlook begins from: the hours of a place and the visits of
// a site from one moment to another. Where one can't be read the other still comes;
// the error tells of it.
func (a *Archive) Kept(ctx context.Context, site, place string, from, to time.Time) (weather.Series, []records.Visit, error) {
	hours, noHours := a.Hours(ctx, place, from, to)
	stored, noVisits := a.Visits(ctx, site, from, from.Location())
	var visits []records.Visit
	for i := range stored {
		visits = append(visits, stored[i].Visit)
	}
	return hours, visits, errors.Join(noHours, noVisits)
}

func nullable(x float64) sql.NullFloat64 { return sql.NullFloat64{Float64: x, Valid: !math.IsNaN(x)} }

func number(x sql.NullFloat64) float64 {
	if !x.Valid {
		return math.NaN()
	}
	return x.Float64
}
