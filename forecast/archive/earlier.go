package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// EarlierSeasons are the seasons of a site that lie between two winters' starts, the
// oldest first: those with records or weather. Beside them stand the documents of the
// evenings of that time.
func (a *Archive) EarlierSeasons(ctx context.Context, site, place string, from, to time.Time) (known []notebook.Season,
	evenings []json.RawMessage, err error) {
	var stored []Stored
	var taps []StoredTap
	var seen []StoredObservation
	var hours weather.Series
	first := from.AddDate(-1, 0, 0)
	if err := Together(ctx, a.db, a.postgres, VisitsFrom(site, from, from.Location(), &stored),
		tapEventsFrom(site, from, from.Location(), &taps),
		ObservationsFrom(site, first, from.Location(), &seen), a.hours(place, first, to, &hours),
		eveningsFrom(site, from.Format(time.DateOnly), &evenings)); err != nil {
		return nil, nil, a.told("read earlier seasons from", err)
	}
	visits := make([]records.Visit, len(stored))
	for i := range stored {
		visits[i] = stored[i].Visit
	}
	for _, s := range notebook.Earlier(visits, eventsOf(taps), from, to) {
		s.Weather = hours.Between(s.To.AddDate(0, -8, 0), s.To)
		until := s.To.In(from.Location())
		began := until.AddDate(0, -8, 0)
		for i := range seen {
			if seen[i].Day >= began.Format(time.DateOnly) && seen[i].Day < until.Format(time.DateOnly) {
				s.Observed = append(s.Observed, seen[i].Observation)
			}
		}
		if len(s.Visits) > 0 || s.Weather.Has(weather.TemperatureC) {
			known = append(known, s)
		}
	}
	return known, evenings, nil
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
	var kept taught
	if err := a.asked(ctx, "read what was taught from", taughtOf(site, &kept)); err != nil {
		return false, err
	}
	return kept.under(mark, into)
}

// taught is what is kept of what earlier seasons taught.
type taught struct {
	mark     string
	document []byte
}

func taughtOf(site string, into *taught) *Question {
	return &Question{Query: `SELECT mark, document FROM taught WHERE site = ?1`, Args: []any{site},
		Read: func(rows *sql.Rows) error { return rows.Scan(&into.mark, &into.document) }}
}

func (t *taught) under(mark string, into any) (bool, error) {
	if t.document == nil || t.mark != mark {
		return false, nil
	}
	return true, unpacked(t.document, into)
}
