package archive

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"time"

	"thawline/forecast/weather"
)

// cells says of places in which cell they lie, whose weather they share, and whether it is
// put there.
type cells struct {
	of  map[string]string
	put bool
}

// ShareWeather says in which cell each place lies. The weather of a place is then read from
// its own days and its cell's; where put says so, it is kept by cell, once for all places
// in it.
func (a *Archive) ShareWeather(cellOf map[string]string, put bool) {
	a.cells.Store(&cells{cellOf, put})
}

// placesOf are the names under which a place's weather may lie: its own and its cell's.
func (a *Archive) placesOf(place string) (own, cell string) {
	if c := a.cells.Load(); c != nil && c.of[place] != "" {
		return place, c.of[place]
	}
	return place, place
}

// PutHours keeps the hours of a place that have been; later figures for an hour
// stand before earlier ones, and a gap before nothing.
func (a *Archive) PutHours(ctx context.Context, place string, s *weather.Series) error {
	if s.Hours() == 0 {
		return nil
	}
	var mark uint64
	if c := a.cells.Load(); c != nil && c.put && c.of[place] != "" {
		place, mark = c.of[place], markOf(s)
		if before, known := a.lastPut.Load(place); known && before == mark {
			return nil // a neighbour brought it
		}
	}
	err := a.within(ctx, "keep weather in", func(tx *sql.Tx) error {
		known, err := daysKept(ctx, tx, place, s.Start(), s.End())
		if err != nil {
			return err
		}
		noted := ""
		for day := s.Start().Truncate(24 * time.Hour); day.Before(s.End()); day = day.Add(24 * time.Hour) {
			name := day.Format(time.DateOnly)
			kept := known[name]
			old, err := unpack(day, kept)
			if err != nil {
				return fmt.Errorf("weather of %s on %s: %w", place, name, err)
			}
			fresh := s.Between(day, day.Add(24*time.Hour))
			merged := old.Overlay(&fresh)
			packed := pack(&merged, day)
			if bytes.Equal(packed, kept) { // most days of two weeks are known already
				continue
			}
			if _, err := tx.ExecContext(Later(ctx), `INSERT INTO weather_day (place, day, hours) VALUES (?1, ?2, ?3)
				ON CONFLICT (place, day) DO UPDATE SET hours = excluded.hours`, place, name, packed); err != nil {
				return err
			}
			if in := day.Format(month); in != noted {
				noted = in
				if err := noteWeather(ctx, tx, place, in); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err == nil && mark != 0 {
		a.lastPut.Store(place, mark)
	}
	return err
}

// month is how the months are named by which writes to weather are counted.
const month = "2006-01"

// noteWeather counts a write to the weather of a place in a month, in the same transaction.
func noteWeather(ctx context.Context, tx *sql.Tx, place, in string) error {
	_, err := tx.ExecContext(Later(ctx), `INSERT INTO weather_change (place, month, number) VALUES (?1, ?2, 1)
		ON CONFLICT (place, month) DO UPDATE SET number = weather_change.number + 1`, place, in)
	return err
}

// markOf is a number that changes with the figures of hours.
func markOf(s *weather.Series) uint64 {
	h := fnv.New64a()
	_, _ = fmt.Fprint(h, s.Start().Unix(), s.Hours())
	var b [8]byte
	for _, v := range weather.Variables() {
		if !s.Has(v) {
			continue
		}
		for _, x := range s.Col(v) {
			binary.LittleEndian.PutUint64(b[:], math.Float64bits(x))
			_, _ = h.Write(b[:])
		}
	}
	return h.Sum64()
}

// daysKept reads what is kept of the days from one moment to another, by date.
func daysKept(ctx context.Context, tx *sql.Tx, place string, from, to time.Time) (map[string][]byte, error) {
	out := map[string][]byte{}
	err := ask(ctx, tx, &Question{Query: `SELECT day, hours FROM weather_day WHERE place = ?1 AND day >= ?2 AND day <= ?3`,
		Args: []any{place, from.UTC().Format(time.DateOnly), to.UTC().Format(time.DateOnly)}, Read: func(rows *sql.Rows) error {
			var day string
			var hours []byte
			err := rows.Scan(&day, &hours)
			out[day] = hours
			return err
		}})
	return out, err
}

// ForgetHours lets go of a place's weather before a moment, also of what its cell shares.
func (a *Archive) ForgetHours(ctx context.Context, place string, before time.Time) error {
	own, cell := a.placesOf(place)
	if _, err := a.db.ExecContext(ctx, `DELETE FROM weather_day WHERE place IN (?1, ?2) AND day < ?3`, own, cell,
		before.UTC().Format(time.DateOnly)); err != nil {
		return a.told("tidy", err)
	}
	return nil
}

// Hours gives the kept hours of a place from one moment to another; gaps are
// NaN.
func (a *Archive) Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error) {
	var all weather.Series
	if err := a.asked(ctx, "read weather from", a.hours(place, from, to, &all)); err != nil {
		return weather.Series{}, err
	}
	return all, nil
}

// hours asks for the days of a place, first for its own and then for its cell's, which are
// newer.
func (a *Archive) hours(place string, from, to time.Time, into *weather.Series) *Question {
	own, cell := a.placesOf(place)
	first := from.UTC().Truncate(time.Hour)
	*into = weather.NewSeries(first, max(int(math.Ceil(to.Sub(first).Hours())), 0))
	return &Question{Query: `SELECT day, hours FROM weather_day WHERE place IN (?1, ?2) AND day >= ?3 AND day <= ?4 ORDER BY CASE WHEN place = ?1 THEN 0 ELSE 1 END, day`,
		Args: []any{own, cell, from.UTC().Format(time.DateOnly), to.UTC().Format(time.DateOnly)}, Read: func(rows *sql.Rows) error {
			var name string
			var packed []byte
			if err := rows.Scan(&name, &packed); err != nil {
				return err
			}
			day, err := time.Parse(time.DateOnly, name)
			if err != nil {
				return err
			}
			s, err := unpack(day, packed)
			if err != nil {
				return fmt.Errorf("weather of %s on %s: %w", place, name, err)
			}
			for _, v := range weather.Variables() {
				for h := range packedHours {
					if x := s.At(v, h); x == x {
						into.Set(v, s.Time(h), x)
					}
				}
			}
			return nil
		}}
}

const packedHours = 24

func pack(s *weather.Series, day time.Time) []byte {
	first := s.Index(day)
	out := make([]byte, 0, len(weather.Variables())*packedHours*4)
	for _, v := range weather.Variables() {
		for h := range packedHours {
			out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(s.At(v, first+h))))
		}
	}
	return out
}

// unpack reads a day; one without bytes is all gaps.
func unpack(day time.Time, packed []byte) (weather.Series, error) {
	s := weather.NewSeries(day, packedHours)
	if len(packed) == 0 {
		return s, nil
	}
	variables := weather.Variables()
	if len(packed) != len(variables)*packedHours*4 {
		return s, fmt.Errorf("%d bytes where %d are due; restore a backup", len(packed), len(variables)*packedHours*4)
	}
	for i, v := range variables {
		for h := range packedHours {
			x := math.Float32frombits(binary.LittleEndian.Uint32(packed[(i*packedHours+h)*4:]))
			if x == x {
				// Back to the tenth or so that was kept, without single precision's tail.
				s.Col(v)[h] = math.Round(float64(x)*1e4) / 1e4
			}
		}
	}
	return s, nil
}
