package archive

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// EarlierSeasons are the seasons of a site that lie between two winters' starts, the
// oldest first: those with records or weather.
func (a *Archive) EarlierSeasons(ctx context.Context, site, place string, from, to time.Time) ([]notebook.Season, error) {
	stored, err := a.Visits(ctx, site, from, from.Location())
	if err != nil {
		return nil, err
	}
	visits := make([]records.Visit, len(stored))
	for i := range stored {
		visits[i] = stored[i].Visit
	}
	var known []notebook.Season
	events, err := a.tapsFrom(ctx, site, from)
	if err != nil {
		return nil, err
	}
	for _, s := range notebook.Earlier(visits, events, from, to) {
		if s.Weather, err = a.Hours(ctx, place, s.To.AddDate(0, -8, 0), s.To); err != nil {
			return nil, err
		}
		until := s.To.In(from.Location())
		seen, err := a.Observations(ctx, site, until.AddDate(0, -8, 0), from.Location())
		if err != nil {
			return nil, err
		}
		for i := range seen {
			if seen[i].Day < until.Format(time.DateOnly) {
				s.Observed = append(s.Observed, seen[i].Observation)
			}
		}
		if len(s.Visits) > 0 || s.Weather.Has(weather.TemperatureC) {
			known = append(known, s)
		}
	}
	return known, nil
}

// PutTaught keeps what earlier seasons taught, under a mark.
func (a *Archive) PutTaught(ctx context.Context, site, mark string, taught any) error {
	document, err := packed(taught)
	if err != nil {
		return err
	}
	if _, err := a.db.ExecContext(ctx, `INSERT INTO taught (site, mark, document) VALUES (?1, ?2, ?3)
		ON CONFLICT (site) DO UPDATE SET mark = excluded.mark, document = excluded.document`, site, mark, document); err != nil {
		return a.told("keep what was taught in", err)
	}
	return nil
}

// Taught reads what was kept under the same mark into a value; it reports false if
// there is none such.
func (a *Archive) Taught(ctx context.Context, site, mark string, into any) (bool, error) {
	var document []byte
	err := a.db.QueryRowContext(ctx, `SELECT document FROM taught WHERE site = ?1 AND mark = ?2`, site, mark).Scan(&document)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err == nil {
		err = unpacked(document, into)
	}
	if err != nil {
		return false, a.told("read what was taught from", err)
	}
	return true, nil
}
