package archive

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"path/filepath"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

func counted(t *testing.T, a *Archive) (n int) {
	t.Helper()
	if err := a.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM kept_value WHERE name LIKE 'trip%'`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

const putValue = `INSERT INTO kept_value (name, value) VALUES (?1, ?2)`

// Statements that go later than they are written come to the same: they are there once the
// transaction is committed, gone where it is rolled back or one of them fails, and seen by
// what follows them. What goes together is all there or not at all.
func TestWhatGoesLaterAndTogether(t *testing.T) {
	where := beside.Where(t, filepath.Join(t.TempDir(), "trips.db"))
	a, err := Open(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	begin := func() *sql.Tx {
		tx, err := a.db.BeginTx(t.Context(), nil)
		if err != nil {
			t.Fatal(err)
		}
		return tx
	}
	later := func(tx *sql.Tx, name string) error {
		_, err := tx.ExecContext(Later(t.Context()), putValue, name, "x")
		return err
	}
	tx := begin()
	if err := errors.Join(later(tx, "trip 1"), later(tx, "trip 2")); err != nil {
		t.Fatal(err)
	}
	var seen int
	if err := tx.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM kept_value WHERE name LIKE 'trip%'`).Scan(&seen); err != nil ||
		seen != 2 {
		t.Errorf("%d seen within the transaction: %v", seen, err)
	}
	if err := errors.Join(later(tx, "trip 3"), tx.Rollback()); err != nil || counted(t, a) != 0 {
		t.Errorf("%d after it was rolled back: %v", counted(t, a), err)
	}
	tx = begin()
	if err := errors.Join(later(tx, "trip 1"), tx.Commit()); err != nil || counted(t, a) != 1 {
		t.Errorf("%d after it was committed: %v", counted(t, a), err)
	}
	tx = begin()
	err = errors.Join(later(tx, "trip 2"), later(tx, "trip 1")) // which is there
	if err == nil {
		err = tx.Commit()
	} else {
		_ = tx.Rollback()
	}
	if err == nil || counted(t, a) != 1 {
		t.Errorf("%d after one failed: %v", counted(t, a), err)
	}
	if err := begin().Commit(); err != nil {
		t.Errorf("with nothing in it: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := a.db.ExecContext(ctx, putValue, "trip 9", "x"); err == nil {
		t.Error("written after its time")
	}

	var names []string
	list := &Question{Query: `SELECT name FROM kept_value WHERE name LIKE ?1 ORDER BY name`, Args: []any{"trip%"},
		Read: gather(&names, func(rows *sql.Rows) (s string, err error) { return s, rows.Scan(&s) })}
	put := func(name string) *Question { return &Question{Query: putValue, Args: []any{name, "x"}} }
	if err := Together(t.Context(), a.db, a.postgres, put("trip 4"), list); err != nil || len(names) != 2 {
		t.Errorf("%q: %v", names, err)
	}
	one, other := put("trip 5"), put("trip 1")
	a.write(t.Context(), other, one)
	if one.Err != nil || other.Err == nil || counted(t, a) != 3 {
		t.Errorf("%d: one can't be written (%v), the other is all the same (%v)", counted(t, a), other.Err, one.Err)
	}
}

// Neighbours keep their weather once; what each had by itself is still there, and a bush
// that is no more one of many finds all of it.
func TestNeighboursKeepTheirWeatherOnce(t *testing.T) {
	a, err := Open(t.Context(), beside.Where(t, filepath.Join(t.TempDir(), "cells.db")))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	put := func(place string, day int, c float64) {
		s := weather.NewSeries(start.AddDate(0, 0, day), 24)
		for i := range s.Hours() {
			s.Col(weather.TemperatureC)[i] = c
		}
		if err := a.PutHours(t.Context(), place, &s); err != nil {
			t.Fatal(err)
		}
	}
	days := func() (n int) {
		if err := a.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM weather_day`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	reads := func(place string, want ...float64) {
		t.Helper()
		s, err := a.Hours(t.Context(), place, start, start.AddDate(0, 0, len(want)))
		if err != nil {
			t.Fatal(err)
		}
		for day, w := range want {
			if got := s.At(weather.TemperatureC, 24*day+5); got != w && !(math.IsNaN(got) && math.IsNaN(w)) {
				t.Errorf("%s on day %d: %g, want %g", place, day, got, w)
			}
		}
	}
	cells := map[string]string{"hill": "cell", "lake": "cell", "far": "another"}
	put("hill", 0, -1)
	put("hill", 1, -2)
	a.ShareWeather(cells, true)
	put("hill", 1, 3) // newer
	put("lake", 1, 3)
	put("lake", 2, 4)
	put("hill", 2, 4)
	put("far", 2, 9)
	if n := days(); n != 5 {
		t.Errorf("%d days of weather kept, want two of the hill's own, two of its cell and one of another", n)
	}
	gap := math.NaN()
	reads("hill", -1, 3, 4)
	reads("lake", gap, 3, 4)
	reads("far", gap, gap, 9)
	a.ShareWeather(cells, false) // few again
	put("lake", 0, 7)
	reads("lake", 7, 3, 4)
	reads("hill", -1, 3, 4)
	if first, last, err := a.HoursKept(t.Context(), "lake"); err != nil || !first.Equal(start) || !last.Equal(start.AddDate(0, 0, 2)) {
		t.Errorf("kept from %s to %s: %v", first, last, err)
	}
	if err := a.ForgetHours(t.Context(), "hill", start.AddDate(0, 0, 5)); err != nil || days() != 2 {
		t.Errorf("%d days left: %v", days(), err)
	}
}

func TestTripsOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){"later and together": TestWhatGoesLaterAndTogether,
		"neighbours": TestNeighboursKeepTheirWeatherOnce})
}
