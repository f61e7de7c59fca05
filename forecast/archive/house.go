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
)

// StoredHouse is an entry of the sugarhouse's book with its place in the archive.
type StoredHouse struct {
	records.HouseEntry
	Removed    bool
	RecordedAt time.Time
	RecordedBy string
}

// sameWithin is how close two entries of the same figures are one (as for visits).
const sameWithin = 10 * time.Minute

// PutHouse writes an entry of the sugarhouse's book and tells what became of it: Added,
// or Same where it came before under its key, or the same figures stand there within ten
// minutes. The stored one is returned either way.
func (a *Archive) PutHouse(ctx context.Context, e records.HouseEntry, key string, now time.Time) (StoredHouse, Outcome, error) {
	var stored StoredHouse
	outcome := Added
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		outcome = Same
		found, err := houseLike(ctx, tx, &e, key)
		if err != nil || found != nil {
			if found != nil {
				stored = *found
			}
			return err
		}
		fresh, err := uuid.NewV7()
		if err != nil {
			return fmt.Errorf("name an entry of the sugarhouse: %w", err)
		}
		e.ID, outcome = fresh.String(), Added
		stored = StoredHouse{HouseEntry: e, RecordedAt: now, RecordedBy: e.By}
		sugar := records.SugarBatch{LeftC: math.NaN(), WaterC: math.NaN(), HumidityPct: math.NaN()}
		if e.Sugar != nil {
			sugar = *e.Sugar
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO house_entry (id, site, kind, at, sap_l, syrup_l, sugar_kg, wood_cords, hours, note, name, removed, recorded_at, recorded_by, removed_at, removed_by, pan, left_c, water_c, humidity_pct, outcome)
			VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, 0, ?12, ?13, '', '', ?14, ?15, ?16, ?17, ?18)`,
			e.ID, e.Site, string(e.Kind), e.At.UTC().Format(instant), figure(e.SapL), figure(e.SyrupL), figure(e.SugarKg),
			figure(e.WoodCords), figure(e.Hours), e.Note, key, now.UTC().Format(instant), e.By,
			e.Pan, figure(sugar.LeftC), figure(sugar.WaterC), figure(sugar.HumidityPct), sugar.Outcome)
		return errors.Join(err, noteChange(ctx, tx, e.Site))
	})
	return stored, outcome, err
}

// figure is null for what was not given.
func figure(x float64) sql.NullFloat64 {
	return sql.NullFloat64{Float64: x, Valid: !math.IsNaN(x)}
}

// houseLike finds the entry that came under a key, else one that says the same.
func houseLike(ctx context.Context, tx *sql.Tx, e *records.HouseEntry, key string) (*StoredHouse, error) {
	if key != "" {
		s, err := scanHouse(tx.QueryRowContext(ctx, houseColumns+` WHERE name = ?1`, key), e.At.Location())
		if err == nil {
			return &s, nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return nil, err
		}
	}
	rows, err := tx.QueryContext(ctx, houseColumns+` WHERE removed = 0 AND site = ?1 AND kind = ?2 AND at > ?3 AND at < ?4`, e.Site,
		string(e.Kind),
		e.At.Add(-sameWithin).UTC().Format(instant), e.At.Add(sameWithin).UTC().Format(instant))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		s, err := scanHouse(rows, e.At.Location())
		if err != nil {
			return nil, err
		}
		if s.Like(e) {
			return &s, nil
		}
	}
	return nil, rows.Err()
}

const houseColumns = `SELECT id, site, kind, at, sap_l, syrup_l, sugar_kg, wood_cords, hours, note, removed, recorded_at, recorded_by, pan, left_c, water_c, humidity_pct, outcome FROM house_entry`

func scanHouse(row interface{ Scan(...any) error }, zone *time.Location) (StoredHouse, error) {
	var s StoredHouse
	var kind, at, recorded string
	var removed int64
	var figures [8]sql.NullFloat64
	var sugar records.SugarBatch
	err := row.Scan(&s.ID, &s.Site, &kind, &at, &figures[0], &figures[1], &figures[2], &figures[3], &figures[4], &s.Note, &removed,
		&recorded, &s.RecordedBy,
		&s.Pan, &figures[5], &figures[6], &figures[7], &sugar.Outcome)
	if err != nil {
		return s, err
	}
	for i, into := range []*float64{&s.SapL, &s.SyrupL, &s.SugarKg, &s.WoodCords, &s.Hours, &sugar.LeftC, &sugar.WaterC,
		&sugar.HumidityPct} {
		if *into = math.NaN(); figures[i].Valid {
			*into = figures[i].Float64
		}
	}
	if kind == string(records.Stirred) {
		s.Sugar = &sugar
	}
	s.Kind, s.Removed, s.By = records.HouseKind(kind), removed != 0, s.RecordedBy
	if s.At, err = time.Parse(instant, at); err != nil {
		return s, err
	}
	s.At = s.At.In(zone)
	s.RecordedAt, err = time.Parse(instant, recorded)
	return s, err
}

// House lists the sugarhouse's book of a site, "" for all, oldest first, from a moment on.
func (a *Archive) House(ctx context.Context, site string, from time.Time, zone *time.Location) (out []StoredHouse, err error) {
	err = a.asked(ctx, "read the sugarhouse's book from", houseFrom(site, from, zone, &out))
	return out, err
}

func houseFrom(site string, from time.Time, zone *time.Location, into *[]StoredHouse) *Question {
	return &Question{Query: houseColumns + ` WHERE removed = 0 AND ` + ofSite(site) + ` AND at >= ?2 ORDER BY at, id`,
		Args: []any{site, from.UTC().Format(instant)},
		Read: gather(into, func(rows *sql.Rows) (StoredHouse, error) { return scanHouse(rows, zone) })}
}

// RemoveHouse takes an entry of a site out of the book, or brings it back; it is kept
// either way. ErrNoEntry where the site has none of that id.
func (a *Archive) RemoveHouse(ctx context.Context, site, id string, remove bool, by string, now time.Time) (StoredHouse, error) {
	var s StoredHouse
	gone, at := int64(0), ""
	if remove {
		gone, at = 1, now.UTC().Format(instant)
	}
	err := a.writeRecords(ctx, func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx,
			`UPDATE house_entry SET removed = ?3, removed_at = ?4, removed_by = ?5 WHERE id = ?1 AND site = ?2`, id, site, gone, at, by)
		if err != nil {
			return err
		}
		if n, err := done.RowsAffected(); err != nil || n == 0 {
			return errors.Join(err, ErrNoEntry)
		}
		if s, err = scanHouse(tx.QueryRowContext(ctx, houseColumns+` WHERE id = ?1`, id), time.UTC); err != nil {
			return err
		}
		return noteChange(ctx, tx, site)
	})
	return s, err
}
