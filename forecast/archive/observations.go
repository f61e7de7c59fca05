package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/google/uuid"

	"thawline/forecast/records"
)

// StoredObservation is an observation with its place in the archive.
type StoredObservation struct {
	records.Observation
	Removed    bool
	RecordedAt time.Time
	RecordedBy string
}

// PutObservation is one that was put in and what became of it: Added, Same or Corrected.
type PutObservation struct {
	StoredObservation
	Outcome Outcome
	Before  records.Observation // what was said of it before, where that is Corrected
}

// PutObservations writes observations of one site in one transaction: all of them or
// none. One that came before under its key, and one that says the same, adds nothing;
// one that says otherwise takes the place of the other, which RemoveObservation brings
// back. Keys end in the place of each in the list; "" is none.
func (a *Archive) PutObservations(ctx context.Context, list []records.Observation, key string, now time.Time) ([]PutObservation, error) {
	var puts []PutObservation
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		puts = puts[:0]
		for i := range list {
			name := key
			if name != "" && i > 0 {
				name += "/" + strconv.Itoa(i)
			}
			p, err := putObservation(ctx, tx, list[i], name, now)
			if err != nil {
				return err
			}
			puts = append(puts, p)
		}
		return nil
	})
	return puts, err
}

func putObservation(ctx context.Context, tx *sql.Tx, o records.Observation, key string, now time.Time) (PutObservation, error) {
	p := PutObservation{Outcome: Added}
	if key != "" {
		s, err := scanObservation(tx.QueryRowContext(ctx, observationColumns+` WHERE name = ?1`, key), o.At.Location())
		if err == nil {
			return PutObservation{StoredObservation: s, Outcome: Same}, nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return p, err
		}
	}
	of, err := observationsIn(ctx, tx, o.At.Location(), ` WHERE removed = 0 AND site = ?1 AND day >= ?2 AND day <= ?3 ORDER BY at, id`,
		o.Site, dayBeside(o.Day, -1), dayBeside(o.Day, 1))
	if err != nil {
		return p, err
	}
	fresh, err := uuid.NewV7()
	if err != nil {
		return p, fmt.Errorf("name an observation: %w", err)
	}
	o.ID = fresh.String()
	for i := range of {
		ofIt, same := o.Says(&of[i].Observation)
		if same {
			return PutObservation{StoredObservation: of[i], Outcome: Same}, nil
		}
		if ofIt && (o.Kind.Read() || of[i].RecordedBy == o.By) {
			p.Outcome, p.Before = Corrected, of[i].Observation
			if _, err := tx.ExecContext(ctx,
				`UPDATE observation SET removed = 1, removed_at = ?2, removed_by = ?3, replaced_by = ?4 WHERE id = ?1`, of[i].ID,
				now.UTC().Format(instant), o.By, o.ID); err != nil {
				return p, err
			}
		}
	}
	p.StoredObservation = StoredObservation{Observation: o, RecordedAt: now, RecordedBy: o.By}
	_, err = tx.ExecContext(ctx, `INSERT INTO observation (id, site, taps_group, kind, day, at, temperature_c, name, removed, recorded_at, recorded_by, removed_at, removed_by, replaced_by, sign)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, 0, ?9, ?10, '', '', '', ?11)`,
		o.ID, o.Site, o.Group, string(o.Kind), o.Day, o.At.UTC().Format(instant), figure(o.TemperatureC), key,
		now.UTC().Format(instant), o.By, o.Sign)
	return p, errors.Join(err, noteChange(ctx, tx, o.Site))
}

// dayBeside is the date some days from another.
func dayBeside(day string, days int) string {
	d, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day // it was checked
	}
	return d.AddDate(0, 0, days).Format(time.DateOnly)
}

const observationColumns = `SELECT id, site, taps_group, kind, day, at, temperature_c, removed, recorded_at, recorded_by, sign FROM observation`

func scanObservation(row interface{ Scan(...any) error }, zone *time.Location) (StoredObservation, error) {
	var s StoredObservation
	var kind, at, recorded string
	var temperature sql.NullFloat64
	var removed int64
	err := row.Scan(&s.ID, &s.Site, &s.Group, &kind, &s.Day, &at, &temperature, &removed, &recorded, &s.RecordedBy, &s.Sign)
	if err != nil {
		return s, err
	}
	s.Kind, s.Removed, s.By, s.TemperatureC = records.ObservationKind(kind), removed != 0, s.RecordedBy, number(temperature)
	if s.At, err = time.Parse(instant, at); err != nil {
		return s, err
	}
	s.At = s.At.In(zone)
	s.RecordedAt, err = time.Parse(instant, recorded)
	return s, err
}

func observationsIn(ctx context.Context, in Queryer, zone *time.Location, where string, args ...any) ([]StoredObservation, error) {
	rows, err := in.QueryContext(ctx, observationColumns+where, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []StoredObservation
	for rows.Next() {
		s, err := scanObservation(rows, zone)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// Observations lists those of a site, "" for all, oldest first, from the day of a moment
// on.
func (a *Archive) Observations(ctx context.Context, site string, from time.Time, zone *time.Location) ([]StoredObservation, error) {
	var out []StoredObservation
	err := a.asked(ctx, "read observations from", ObservationsFrom(site, from, zone, &out))
	return out, err
}

// ObservationsFrom asks for the observations of a site from a local day on, by moment, to be read
// into a list.
func ObservationsFrom(site string, from time.Time, zone *time.Location, into *[]StoredObservation) *Question {
	return &Question{Query: observationColumns + ` WHERE removed = 0 AND ` + ofSite(site) + ` AND day >= ?2 ORDER BY at, id`,
		Args: []any{site, from.In(zone).Format(time.DateOnly)},
		Read: gather(into, func(rows *sql.Rows) (StoredObservation, error) { return scanObservation(rows, zone) })}
}

// RemoveObservation takes an observation of a site out of the lists; what it took the
// place of is there again. ErrNoEntry where the site has none of that id.
func (a *Archive) RemoveObservation(ctx context.Context, site, id, by string, now time.Time) (StoredObservation, error) {
	var s StoredObservation
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx,
			`UPDATE observation SET removed = 1, removed_at = ?3, removed_by = ?4 WHERE id = ?1 AND site = ?2 AND removed = 0`, id,
			site, now.UTC().Format(instant), by)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, ErrNoEntry)
		}
		if _, err := tx.ExecContext(ctx,
			`UPDATE observation SET removed = 0, removed_at = '', removed_by = '', replaced_by = '' WHERE replaced_by = ?1`,
			id); err != nil {
			return err
		}
		if s, err = scanObservation(tx.QueryRowContext(ctx, observationColumns+` WHERE id = ?1`, id), time.UTC); err != nil {
			return err
		}
		return noteChange(ctx, tx, site)
	})
	return s, err
}

// undoObservationsSince gives the observations of a site, "" for all, back as they were
// at a moment, and tells how many it touched.
func undoObservationsSince(ctx context.Context, tx *sql.Tx, site, since, by, stamp string) (touched int, err error) {
	list, err := observationsIn(ctx, tx, time.UTC,
		` WHERE (?1 = '' OR site = ?1) AND (removed = 0 AND recorded_at >= ?2 OR removed = 1 AND removed_at >= ?2 AND recorded_at < ?2)`, site, since)
	if err != nil {
		return 0, err
	}
	for i := range list {
		s := &list[i]
		if s.Removed {
			_, err = tx.ExecContext(ctx,
				`UPDATE observation SET removed = 0, removed_at = '', removed_by = '', replaced_by = '' WHERE id = ?1`, s.ID)
		} else {
			_, err = tx.ExecContext(ctx, `UPDATE observation SET removed = 1, removed_at = ?2, removed_by = ?3 WHERE id = ?1`, s.ID,
				stamp, by)
		}
		if err = errors.Join(err, noteChange(ctx, tx, s.Site)); err != nil {
			return 0, err
		}
	}
	return len(list), nil
}

// PutReading keeps what a site's thermometer said. The same moment twice is one.
func (a *Archive) PutReading(ctx context.Context, site string, r records.Reading) error {
	return a.within(ctx, "keep a thermometer's reading in", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO thermometer_reading (site, at, temperature_c) VALUES (?1, ?2, ?3) ON CONFLICT DO NOTHING`, site, r.At.UTC().Format(instant), r.TemperatureC)
		return err
	})
}

// Readings are what a site's thermometer said from one moment to another, oldest first.
func (a *Archive) Readings(ctx context.Context, site string, from, to time.Time) (out []records.Reading, err error) {
	err = a.asked(ctx, "read a thermometer's readings from",
		&Question{Query: `SELECT at, temperature_c FROM thermometer_reading WHERE site = ?1 AND at >= ?2 AND at < ?3 ORDER BY at`,
			Args: []any{site, from.UTC().Format(instant), to.UTC().Format(instant)},
			Read: gather(&out, func(rows *sql.Rows) (r records.Reading, err error) {
				var at string
				if err = rows.Scan(&at, &r.TemperatureC); err == nil {
					r.At, err = time.Parse(instant, at)
				}
				return r, err
			})})
	return out, err
}
