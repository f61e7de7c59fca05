package archive

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// SeasonMark changes when records, of visits, of taps or of what was seen, or weather of a
// stretch of time change: what was worked out under the same mark still holds.
func (a *Archive) SeasonMark(ctx context.Context, site, place string, from, to time.Time) (mark string, err error) {
	err = a.asked(ctx, "read records from", a.seasonMark(site, place, from, to, &mark))
	return mark, err
}

// nothingKept is the mark of seasons of which there is nothing.
const nothingKept = "0 0  0 0 0  0 "

func (a *Archive) seasonMark(site, place string, from, to time.Time, into *string) *Question {
	own, cell := a.placesOf(place)
	return &Question{Query: `SELECT v.n, v.changes, v.latest, (SELECT COUNT(DISTINCT day) FROM weather_day WHERE place IN (?2, ?3) AND day >= ?6 AND day <= ?7), t.n, t.changes, t.latest, o.n, o.latest FROM
		(SELECT COUNT(*) AS n, CAST(COALESCE(SUM(revision), 0) AS BIGINT) AS changes, COALESCE(MAX(recorded_at), '') AS latest FROM visit WHERE site = ?1 AND collected_at >= ?4 AND collected_at <= ?5) v,
		(SELECT COUNT(*) AS n, CAST(COALESCE(SUM(revision), 0) AS BIGINT) AS changes, COALESCE(MAX(recorded_at), '') AS latest FROM tap_event WHERE site = ?1 AND on_at >= ?4 AND on_at <= ?5) t,
		(SELECT COUNT(*) AS n, COALESCE(MAX(recorded_at), '') AS latest FROM observation WHERE removed = 0 AND site = ?1 AND day >= ?6 AND day <= ?7) o`,
		Args: []any{site, own, cell, from.UTC().Format(instant), to.UTC().Format(instant), from.UTC().Format(time.DateOnly),
			to.UTC().Format(time.DateOnly)},
		Read: func(rows *sql.Rows) error {
			var visits, changes, days, taps, tapChanges, seen int64
			var last, tapsLast, seenLast string
			err := rows.Scan(&visits, &changes, &last, &days, &taps, &tapChanges, &tapsLast, &seen, &seenLast)
			*into = fmt.Sprintf("%d %d %s %d %d %d %s %d %s", visits, changes, last, days, taps, tapChanges, tapsLast, seen, seenLast)
			return err
		}}
}

// HoursKept is the first and the last UTC day of which a place's weather is
// kept; zero times where none is.
func (a *Archive) HoursKept(ctx context.Context, place string) (first, last time.Time, err error) {
	var from, to sql.NullString
	own, cell := a.placesOf(place)
	if err := a.db.QueryRowContext(ctx, `SELECT MIN(day), MAX(day) FROM weather_day WHERE place IN (?1, ?2)`, own, cell).Scan(&from,
		&to); err != nil {
		return first, last, a.told("read weather from", err)
	}
	if !from.Valid {
		return first, last, nil
	}
	if first, err = time.Parse(time.DateOnly, from.String); err == nil {
		last, err = time.Parse(time.DateOnly, to.String)
	}
	return first, last, err
}
