package archive

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// SeasonMarks change, each, when records, of visits, of taps or of what was seen, or weather
// of a stretch of time change: what was worked out under the same mark still holds.
func (a *Archive) SeasonMarks(ctx context.Context, site, place string, spans ...Span) ([]string, error) {
	marks, questions := make([]string, len(spans)), make([]*Question, len(spans))
	for i, s := range spans {
		questions[i] = a.seasonMark(site, place, s.From, s.To, &marks[i])
	}
	if err := Together(ctx, a.db, a.postgres, questions...); err != nil {
		return nil, a.told("read records from", err)
	}
	return marks, nil
}

// BriefMark changes when any record or weather of a site changes: while it stays, so do the
// marks of its seasons, which take a look at every visit and day.
func (a *Archive) BriefMark(ctx context.Context, site, place string) (mark string, err error) {
	own, cell := a.placesOf(place)
	err = a.asked(ctx, "read what has changed from", &Question{Query: `SELECT (SELECT CAST(COALESCE(MAX(number), 0) AS BIGINT) FROM site_changes WHERE site = ?1),
		(SELECT CAST(COALESCE(SUM(number), 0) AS BIGINT) FROM weather_change WHERE place IN (?2, ?3)), COALESCE((SELECT MIN(day) FROM weather_day WHERE place = ?2), ''),
		COALESCE((SELECT MAX(day) FROM weather_day WHERE place = ?2), ''), COALESCE((SELECT MIN(day) FROM weather_day WHERE place = ?3), ''),
		COALESCE((SELECT MAX(day) FROM weather_day WHERE place = ?3), '')`, Args: []any{site, own, cell}, Read: func(rows *sql.Rows) error {
		var records, weather int64
		var first, last, cellFirst, cellLast string
		err := rows.Scan(&records, &weather, &first, &last, &cellFirst, &cellLast)
		mark = fmt.Sprintf("%s %d %d %s %s %s %s", cell, records, weather, first, last, cellFirst, cellLast)
		return err
	}})
	return mark, err
}

// nothingKept is the mark of seasons of which there is nothing.
const nothingKept = "0 0  0 0 0 0  0  "

func (a *Archive) seasonMark(site, place string, from, to time.Time, into *string) *Question {
	own, cell := a.placesOf(place)
	return &Question{Query: `SELECT v.n, v.changes, v.latest, (SELECT COUNT(DISTINCT day) FROM weather_day WHERE place IN (?2, ?3) AND day >= ?6 AND day <= ?7),
		(SELECT CAST(COALESCE(SUM(number), 0) AS BIGINT) FROM weather_change WHERE place IN (?2, ?3) AND month >= ?8 AND month <= ?9), t.n, t.changes, t.latest, o.n, o.latest, o.gone FROM
		(SELECT COUNT(*) AS n, CAST(COALESCE(SUM(revision), 0) AS BIGINT) AS changes, COALESCE(MAX(recorded_at), '') AS latest FROM visit WHERE site = ?1 AND collected_at >= ?4 AND collected_at <= ?5) v,
		(SELECT COUNT(*) AS n, CAST(COALESCE(SUM(revision), 0) AS BIGINT) AS changes, COALESCE(MAX(recorded_at), '') AS latest FROM tap_event WHERE site = ?1 AND on_at >= ?4 AND on_at <= ?5) t,
		(SELECT CAST(COALESCE(SUM(1 - removed), 0) AS BIGINT) AS n, COALESCE(MAX(CASE WHEN removed = 0 THEN recorded_at END), '') AS latest, COALESCE(MAX(removed_at), '') AS gone FROM observation WHERE site = ?1 AND day >= ?6 AND day <= ?7) o`,
		Args: []any{site, own, cell, from.UTC().Format(instant), to.UTC().Format(instant), from.UTC().Format(time.DateOnly),
			to.UTC().Format(time.DateOnly), from.UTC().Format(month), to.UTC().Format(month)},
		Read: func(rows *sql.Rows) error {
			var visits, changes, days, weather, taps, tapChanges, seen int64
			var last, tapsLast, seenLast, gone string
			err := rows.Scan(&visits, &changes, &last, &days, &weather, &taps, &tapChanges, &tapsLast, &seen, &seenLast, &gone)
			*into = fmt.Sprintf("%d %d %s %d %d %d %d %s %d %s %s", visits, changes, last, days, weather, taps, tapChanges, tapsLast,
				seen, seenLast, gone)
			return err
		}}
}

// HoursKept is the first and the last UTC day of which a place's weather is
// kept; zero times where none is.
func (a *Archive) HoursKept(ctx context.Context, place string) (first, last time.Time, err error) {
	var from, to sql.NullString
	own, cell := a.placesOf(place)
	// One end of one place a question: the index answers each at a glance, both together by reading all days.
	if err := a.db.QueryRowContext(ctx, `SELECT MIN(first), MAX(last) FROM (
		SELECT (SELECT MIN(day) FROM weather_day WHERE place = ?1) AS first, (SELECT MAX(day) FROM weather_day WHERE place = ?1) AS last UNION ALL
		SELECT (SELECT MIN(day) FROM weather_day WHERE place = ?2), (SELECT MAX(day) FROM weather_day WHERE place = ?2)) ends`, own,
		cell).Scan(&from, &to); err != nil {
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

// PutPastDays keeps what the days of a site's past seasons gave, instead of what was kept
// before.
func (a *Archive) PutPastDays(ctx context.Context, site string, days any) error {
	document, err := packed(days)
	if err != nil {
		return err
	}
	if _, err := a.db.ExecContext(ctx, `INSERT INTO past_days (site, document) VALUES (?1, ?2)
		ON CONFLICT (site) DO UPDATE SET document = excluded.document`, site, document); err != nil {
		return a.told("keep past seasons in", err)
	}
	return nil
}

// PastDays reads what PutPastDays kept of a site into a value, which it leaves alone where
// nothing is kept.
func (a *Archive) PastDays(ctx context.Context, site string, into any) error {
	var document []byte
	err := a.asked(ctx, "read past seasons from", &Question{Query: `SELECT document FROM past_days WHERE site = ?1`, Args: []any{site},
		Read: func(rows *sql.Rows) error { return rows.Scan(&document) }})
	if err != nil || document == nil {
		return err
	}
	return unpacked(document, into)
}
