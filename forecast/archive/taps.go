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

// StoredTap is an event with its place in the archive.
type StoredTap struct {
	records.TapEvent
	ID         string
	Revision   int
	Removed    bool
	RecordedAt time.Time
	RecordedBy string
}

// PutTap is one event that was put in and what became of it: Added, Same or
// BroughtBack.
type PutTap struct {
	Event   records.TapEvent
	ID      string
	Outcome Outcome
}

// PutTaps writes events in one transaction: all of them or none. An event is named by
// site, group, kind and moment: the same again adds nothing, and one that was taken out
// is brought back.
func (a *Archive) PutTaps(ctx context.Context, events []records.TapEvent, by string, now time.Time) ([]PutTap, error) {
	var puts []PutTap
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		puts = puts[:0]
		for _, e := range events {
			p, err := putTap(ctx, tx, e, by, now.UTC().Format(instant))
			if err != nil {
				return err
			}
			puts = append(puts, p)
		}
		return nil
	})
	return puts, err
}

// tapMoment names an event in time: the day where only that is known.
func tapMoment(e *records.TapEvent) string {
	if e.DateOnly {
		return e.On.Format(time.DateOnly)
	}
	return e.On.UTC().Format(instant)
}

func putTap(ctx context.Context, tx *sql.Tx, e records.TapEvent, by, stamp string) (PutTap, error) {
	p := PutTap{Event: e, Outcome: Added}
	var revision, removed int64
	err := tx.QueryRowContext(ctx, `SELECT id, revision, removed FROM tap_event WHERE site = ?1 AND taps_group = ?2 AND kind = ?3 AND moment = ?4`,
		e.Site, e.Group, string(e.Kind), tapMoment(&e)).Scan(&p.ID, &revision, &removed)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		fresh, err := uuid.NewV7()
		if err != nil {
			return p, fmt.Errorf("name a record of taps: %w", err)
		}
		p.ID = fresh.String()
		_, err = tx.ExecContext(ctx, `INSERT INTO tap_event (id, site, taps_group, kind, moment, on_at, revision, removed, recorded_at, recorded_by)
			VALUES (?1, ?2, ?3, ?4, ?5, ?6, 1, 0, ?7, ?8)`, p.ID, e.Site, e.Group, string(e.Kind), tapMoment(&e), e.On.UTC().Format(instant), stamp, by)
		if err != nil {
			return p, err
		}
		return p, noteChange(ctx, tx, e.Site)
	case err != nil:
		return p, err
	case removed == 0:
		p.Outcome = Same
		return p, nil
	}
	p.Outcome = BroughtBack
	return p, reviseTap(ctx, tx, e.Site, p.ID, revision, false, by, stamp)
}

// reviseTap takes an event out of the lists or brings it back, and keeps how it was,
// unless it is no longer at the revision that was read.
func reviseTap(ctx context.Context, tx *sql.Tx, site, id string, revision int64, remove bool, by, stamp string) error {
	if _, err := tx.ExecContext(ctx, `INSERT INTO tap_event_before (event_id, revision, removed, recorded_at, recorded_by)
		SELECT id, revision, removed, recorded_at, recorded_by FROM tap_event WHERE id = ?1`, id); err != nil {
		return err
	}
	gone := 0
	if remove {
		gone = 1
	}
	done, err := tx.ExecContext(ctx, `UPDATE tap_event SET revision = ?2, removed = ?3, recorded_at = ?4, recorded_by = ?5 WHERE id = ?1 AND revision = ?6`,
		id, revision+1, gone, stamp, by, revision)
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(err, errOvertaken)
	}
	return noteChange(ctx, tx, site)
}

const tapColumns = `SELECT id, site, taps_group, kind, moment, on_at, revision, removed, recorded_at, recorded_by FROM tap_event`

func scanTap(row interface{ Scan(...any) error }, zone *time.Location) (StoredTap, error) {
	var s StoredTap
	var kind, named, at, recorded string
	var removed int64
	err := row.Scan(&s.ID, &s.Site, &s.Group, &kind, &named, &at, &s.Revision, &removed, &recorded, &s.RecordedBy)
	if err != nil {
		return s, err
	}
	s.Kind, s.Removed, s.DateOnly = records.TapKind(kind), removed != 0, len(named) == len(time.DateOnly)
	if s.On, err = time.Parse(instant, at); err != nil {
		return s, err
	}
	s.On = s.On.In(zone)
	s.RecordedAt, err = time.Parse(instant, recorded)
	return s, err
}

// TapEvents lists when the taps of a site, "" for all, were put in and pulled, oldest
// first, from a moment on.
func (a *Archive) TapEvents(ctx context.Context, site string, from time.Time, zone *time.Location) (out []StoredTap, err error) {
	err = a.asked(ctx, "read records from", tapEventsFrom(site, from, zone, &out))
	return out, err
}

func tapEventsFrom(site string, from time.Time, zone *time.Location, into *[]StoredTap) *Question {
	return &Question{Query: tapColumns + ` WHERE removed = 0 AND ` + ofSite(site) + ` AND on_at >= ?2 ORDER BY on_at, recorded_at, id`,
		Args: []any{site, from.UTC().Format(instant)},
		Read: gather(into, func(rows *sql.Rows) (StoredTap, error) { return scanTap(rows, zone) })}
}

// eventsOf are stored events as outlooks are made from them.
func eventsOf(stored []StoredTap) (events []records.TapEvent) {
	for i := range stored {
		events = append(events, stored[i].TapEvent)
	}
	return events
}

// TapEvent is one event, be it removed.
func (a *Archive) TapEvent(ctx context.Context, id string, zone *time.Location) (StoredTap, error) {
	s, err := scanTap(a.db.QueryRowContext(ctx, tapColumns+` WHERE id = ?1`, id), zone)
	if errors.Is(err, sql.ErrNoRows) {
		return s, ErrNoVisit
	}
	if err != nil {
		return s, a.told("read records from", err)
	}
	return s, nil
}

// RemoveTap takes an event out of the lists; it is kept, and UndoTap gives it back.
func (a *Archive) RemoveTap(ctx context.Context, id, by string, now time.Time) error {
	return a.changeTap(ctx, id, by, now, func(removed bool, _ *bool) (bool, error) {
		if removed {
			return removed, ErrNoVisit
		}
		return true, nil
	})
}

// UndoTap undoes the last change of an event: what was taken out is in the lists again,
// and what was written down is taken out.
func (a *Archive) UndoTap(ctx context.Context, id, by string, now time.Time) error {
	return a.changeTap(ctx, id, by, now, func(_ bool, before *bool) (bool, error) { return before == nil || *before, nil })
}

func (a *Archive) changeTap(ctx context.Context, id, by string, now time.Time, to func(removed bool, before *bool) (bool, error)) error {
	return a.writeRecords(ctx, func(tx *sql.Tx) error {
		var site string
		var revision, removed int64
		var was sql.NullInt64
		err := tx.QueryRowContext(ctx, `SELECT e.site, e.revision, e.removed, (SELECT b.removed FROM tap_event_before b WHERE b.event_id = e.id ORDER BY b.revision DESC LIMIT 1)
			FROM tap_event e WHERE e.id = ?1`, id).Scan(&site, &revision, &removed, &was)
		if errors.Is(err, sql.ErrNoRows) {
			return ErrNoVisit
		}
		if err != nil {
			return err
		}
		var before *bool
		if was.Valid {
			gone := was.Int64 != 0
			before = &gone
		}
		remove, err := to(removed != 0, before)
		if err != nil || remove == (removed != 0) {
			return err
		}
		return reviseTap(ctx, tx, site, id, revision, remove, by, now.UTC().Format(instant))
	})
}

// undoTapsSince gives the events of a site, "" for all, back as they were at a moment,
// and tells how many it touched.
func undoTapsSince(ctx context.Context, tx *sql.Tx, site, since, by, stamp string) (touched int, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT e.site, e.id, e.revision, e.removed,
		COALESCE((SELECT b.removed FROM tap_event_before b WHERE b.event_id = e.id AND b.recorded_at < ?1 ORDER BY b.revision DESC LIMIT 1), 1)
		FROM tap_event e WHERE e.recorded_at >= ?1 AND (?2 = '' OR e.site = ?2)`, since, site)
	if err != nil {
		return 0, err
	}
	type changed struct {
		site, id                string
		revision, removed, then int64
	}
	var list []changed
	for rows.Next() {
		var c changed
		if err := rows.Scan(&c.site, &c.id, &c.revision, &c.removed, &c.then); err != nil {
			return 0, errors.Join(err, rows.Close())
		}
		list = append(list, c)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return 0, err
	}
	for _, c := range list {
		if c.removed == c.then {
			continue
		}
		if err := reviseTap(ctx, tx, c.site, c.id, c.revision, c.then != 0, by, stamp); err != nil {
			return 0, err
		}
		touched++
	}
	return touched, nil
}
