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
	Load        Outcome = "load"         // of a visit that was there already
)

// Put is one visit and what became of it.
type Put struct {
	Visit    records.Visit
	Outcome  Outcome
	Before   records.Visit // what a corrected visit said
	ID       string        // of the record that the visit is in
	Revision int           // that was written, 0 where nothing was
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
		p.ID, err = insert(ctx, tx, &v, by, stamp)
		p.Revision = 1
		return p, err
	case err != nil:
		return p, err
	}
	p.ID = id
	before.VolumeL, before.BrixPct = number(volume), number(brix)
	if removed == 0 && alike(&before, &v) {
		p.Outcome = Same
		return p, nil
	}
	p.Outcome, p.Before, p.Revision = Corrected, before, int(revision)+1
	if removed != 0 {
		p.Outcome = BroughtBack
	}
	return p, revise(ctx, tx, id, revision, &v, false, by, stamp)
}

// insert writes a visit that is not there yet.
func insert(ctx context.Context, tx *sql.Tx, v *records.Visit, by, stamp string) (id string, err error) {
	fresh, err := uuid.NewV7()
	if err != nil {
		return "", fmt.Errorf("name a visit: %w", err)
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO visit (id, site, taps_group, moment, collected_at, taps, volume_l, brix_pct, note, revision, removed, recorded_at, recorded_by)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, 1, 0, ?10, ?11)`,
		fresh.String(), v.Site, v.Group, moment(v), v.CollectedAt.UTC().Format(instant), v.Taps, nullable(v.VolumeL),
		nullable(v.BrixPct), v.Note, stamp, by)
	if err != nil {
		return "", err
	}
	return fresh.String(), noteChange(ctx, tx, v.Site)
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
	err := row.Scan(&s.ID, &s.Site, &s.Group, &named, &at, &s.Taps, &volume, &brix, &s.Note, &s.Revision, &removed, &recorded,
		&s.RecordedBy)
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
func (a *Archive) Visits(ctx context.Context, site string, from time.Time, zone *time.Location) (out []Stored, err error) {
	err = a.asked(ctx, "read records from", VisitsFrom(site, from, zone, &out))
	return out, err
}

// VisitsWithin are the visits of a site from one moment until before another, oldest first.
func (a *Archive) VisitsWithin(ctx context.Context, site string, from, to time.Time, zone *time.Location) (out []Stored, err error) {
	err = a.asked(ctx, "read records from", &Question{
		Query: storedColumns + ` WHERE removed = 0 AND site = ?1 AND collected_at >= ?2 AND collected_at < ?3 ORDER BY collected_at, taps_group`,
		Args:  []any{site, from.UTC().Format(instant), to.UTC().Format(instant)},
		Read:  gather(&out, func(rows *sql.Rows) (Stored, error) { return scanStored(rows, zone) })})
	return out, err
}

// VisitHours are the hours in which a site was visited, in no order: enough to know in which
// seasons it was.
func (a *Archive) VisitHours(ctx context.Context, site string, zone *time.Location) (out []time.Time, err error) {
	const hour = "2006-01-02T15"
	err = a.asked(ctx, "read records from", &Question{
		Query: `SELECT DISTINCT SUBSTR(collected_at, 1, 13) FROM visit WHERE removed = 0 AND site = ?1`, Args: []any{site},
		Read: gather(&out, func(rows *sql.Rows) (time.Time, error) {
			var at string
			if err := rows.Scan(&at); err != nil {
				return time.Time{}, err
			}
			t, err := time.Parse(hour, at)
			return t.In(zone), err
		})})
	return out, err
}

// VisitsFrom asks for what Visits lists.
func VisitsFrom(site string, from time.Time, zone *time.Location, into *[]Stored) *Question {
	return &Question{Query: storedColumns + ` WHERE removed = 0 AND ` + ofSite(site) +
		` AND collected_at >= ?2 ORDER BY collected_at, taps_group`,
		Args: []any{site, from.UTC().Format(instant)},
		Read: gather(into, func(rows *sql.Rows) (Stored, error) { return scanStored(rows, zone) })}
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

// Correct replaces the figures of a visit that is at a revision, as an entry of its
// own; what they were is kept.
func (a *Archive) Correct(ctx context.Context, e Entry, id string, revision int, figures records.Visit, now time.Time) (Written, error) {
	var w Written
	err := a.change(ctx, id, revision, e.Zone, func(tx *sql.Tx, s *Stored) error {
		p := Put{Visit: figures, Outcome: Same, ID: id}
		w = Written{Entry: e, At: now}
		if !alike(&s.Visit, &figures) {
			p.Outcome, p.Before, p.Revision = Corrected, s.Visit, s.Revision+1
			if err := revise(ctx, tx, id, int64(s.Revision), &figures, false, e.By, now.UTC().Format(instant)); err != nil {
				return err
			}
		}
		var err error
		if w.Number, err = beginEntry(ctx, tx, &e, now); err != nil {
			return err
		}
		w.Puts = []Put{p}
		return noted(ctx, tx, &e, w.Number, 0, &p)
	})
	return w, err
}

// Remove takes a visit that is at a revision out of the lists; its figures are kept.
func (a *Archive) Remove(ctx context.Context, id string, revision int, by string, now time.Time) error {
	return a.change(ctx, id, revision, time.UTC, func(tx *sql.Tx, s *Stored) error {
		return revise(ctx, tx, id, int64(s.Revision), &s.Visit, true, by, now.UTC().Format(instant))
	})
}

// change finds a visit at a revision for do to change it.
func (a *Archive) change(ctx context.Context, id string, revision int, zone *time.Location, do func(tx *sql.Tx, s *Stored) error) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		s, err := scanStored(tx.QueryRowContext(ctx, storedColumns+` WHERE id = ?1 AND removed = 0`, id), zone)
		if errors.Is(err, sql.ErrNoRows) {
			return ErrNoVisit
		}
		if err != nil {
			return err
		}
		if revision != Any && s.Revision != revision {
			return ErrChanged
		}
		return do(tx, &s)
	})
}

// Kept is what a season's outlook begins from: the hours of a place from one moment to
// another, and from the first on the visits of a site and what was done to its taps.
// Where one can't be read the others still come; the error tells of it.
func (a *Archive) Kept(ctx context.Context, site, place string, from, to time.Time) (weather.Series, []records.Visit,
	[]records.TapEvent, error) {
	s := a.Season(ctx, site, place, Span{from, to}, Span{to, to})
	var err error
	for i := range s.LeftOut {
		err = errors.Join(err, s.LeftOut[i].Err)
	}
	return s.Hours, s.Visits, s.TapEvents, err
}

func nullable(x float64) sql.NullFloat64 { return sql.NullFloat64{Float64: x, Valid: !math.IsNaN(x)} }

func number(x sql.NullFloat64) float64 {
	if !x.Valid {
		return math.NaN()
	}
	return x.Float64
}
