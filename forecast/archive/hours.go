package archive

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"thawline/forecast/weather"
)

// PutHours keeps the hours of a place that have been; later figures for an hour
// stand before earlier ones, and a gap before nothing.
func (a *Archive) PutHours(ctx context.Context, place string, s *weather.Series) error {
	if s.Hours() == 0 {
		return nil
	}
	return a.within(ctx, "keep weather in", func(tx *sql.Tx) error {
		known, err := daysKept(ctx, tx, place, s.Start(), s.End())
		if err != nil {
			return err
		}
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
			if _, err := tx.ExecContext(ctx, `INSERT INTO weather_day (place, day, hours) VALUES (?1, ?2, ?3)
				ON CONFLICT (place, day) DO UPDATE SET hours = excluded.hours`, place, name, packed); err != nil {
				return err
			}
		}
		return nil
	})
}

// daysKept reads what is kept of the days from one moment to another, by date.
func daysKept(ctx context.Context, tx *sql.Tx, place string, from, to time.Time) (map[string][]byte, error) {
	rows, err := tx.QueryContext(ctx, `SELECT day, hours FROM weather_day WHERE place = ?1 AND day >= ?2 AND day <= ?3`,
		place, from.UTC().Format(time.DateOnly), to.UTC().Format(time.DateOnly))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[string][]byte{}
	for rows.Next() {
		var day string
		var hours []byte
		if err := rows.Scan(&day, &hours); err != nil {
			return nil, err
		}
		out[day] = hours
	}
	return out, rows.Err()
}

// ForgetHours lets go of a place's weather before a moment.
func (a *Archive) ForgetHours(ctx context.Context, place string, before time.Time) error {
	if _, err := a.db.ExecContext(ctx, `DELETE FROM weather_day WHERE place = ?1 AND day < ?2`, place, before.UTC().Format(time.DateOnly)); err != nil {
		return a.told("tidy", err)
	}
	return nil
}

// Hours gives the kept hours of a place from one moment to another; gaps are
// NaN.
func (a *Archive) Hours(ctx context.Context, place string, from, to time.Time) (weather.Series, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT day, hours FROM weather_day WHERE place = ?1 AND day >= ?2 AND day <= ?3 ORDER BY day`,
		place, from.UTC().Format(time.DateOnly), to.UTC().Format(time.DateOnly))
	if err != nil {
		return weather.Series{}, a.told("read weather from", err)
	}
	defer rows.Close()
	first := from.UTC().Truncate(time.Hour)
	all := weather.NewSeries(first, max(int(math.Ceil(to.Sub(first).Hours())), 0))
	for rows.Next() {
		var name string
		var packed []byte
		if err := rows.Scan(&name, &packed); err != nil {
			return weather.Series{}, a.told("read weather from", err)
		}
		day, err := time.Parse(time.DateOnly, name)
		if err != nil {
			return weather.Series{}, a.told("read weather from", err)
		}
		s, err := unpack(day, packed)
		if err != nil {
			return weather.Series{}, fmt.Errorf("weather of %s on %s: %w", place, name, err)
		}
		for _, v := range weather.Variables() {
			for h := range packedHours {
				if x := s.At(v, h); x == x {
					all.Set(v, s.Time(h), x)
				}
			}
		}
	}
	if err := rows.Err(); err != nil {
		return weather.Series{}, a.told("read weather from", err)
	}
	return all, nil
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
