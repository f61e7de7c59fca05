package archive

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// SeasonMark changes when records, of visits, of taps or of what was seen, or weather of a
// stretch of time change: what was worked out under the same mark still holds.
func (a *Archive) SeasonMark(ctx context.Context, site, place string, from, to time.Time) (string, error) {
	var visits, changes, days int64
	var last string
	err := a.db.QueryRowContext(ctx, `SELECT COUNT(*), COALESCE(SUM(revision), 0), COALESCE(MAX(recorded_at), '') FROM visit WHERE site = ?1 AND collected_at >= ?2 AND collected_at <= ?3`,
		site, from.UTC().Format(instant), to.UTC().Format(instant)).Scan(&visits, &changes, &last)
	var taps, tapChanges int64
	var tapsLast string
	if err == nil {
		err = a.db.QueryRowContext(ctx, `SELECT COUNT(*), COALESCE(SUM(revision), 0), COALESCE(MAX(recorded_at), '') FROM tap_event WHERE site = ?1 AND on_at >= ?2 AND on_at <= ?3`,
			site, from.UTC().Format(instant), to.UTC().Format(instant)).Scan(&taps, &tapChanges, &tapsLast)
	}
	var seen int64
	var seenLast string
	if err == nil {
		err = a.db.QueryRowContext(ctx, `SELECT COUNT(*), COALESCE(MAX(recorded_at), '') FROM observation WHERE removed = 0 AND site = ?1 AND day >= ?2 AND day <= ?3`,
			site, from.UTC().Format(time.DateOnly), to.UTC().Format(time.DateOnly)).Scan(&seen, &seenLast)
	}
	if err == nil {
		err = a.db.QueryRowContext(ctx, `SELECT COUNT(*) FROM weather_day WHERE place = ?1 AND day >= ?2 AND day <= ?3`,
			place, from.UTC().Format(time.DateOnly), to.UTC().Format(time.DateOnly)).Scan(&days)
	}
	if err != nil {
		return "", a.told("read records from", err)
	}
	return fmt.Sprintf("%d %d %s %d %d %d %s %d %s", visits, changes, last, days, taps, tapChanges, tapsLast, seen, seenLast), nil
}

// HoursKept is the first and the last UTC day of which a place's weather is
// kept; zero times where none is.
func (a *Archive) HoursKept(ctx context.Context, place string) (first, last time.Time, err error) {
	var from, to sql.NullString
	if err := a.db.QueryRowContext(ctx, `SELECT MIN(day), MAX(day) FROM weather_day WHERE place = ?1`, place).Scan(&from, &to); err != nil {
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
