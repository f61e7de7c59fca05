package archive

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Sighting is what was seen of the air on a day at a site that shares it, as an outlook of a
// moment says: how likely that would be for each of some errors of the forecast; nil where
// it was taken back. It names no litres and no place.
type Sighting struct {
	Site, Day string // local date
	MadeAt    time.Time
	Chances   []float64
}

// PutSighting keeps one in place of an older one of its site. What says the same again
// changes nothing.
func PutSighting(s *Sighting) (*Question, error) {
	chances := ""
	if s.Chances != nil {
		document, err := json.Marshal(s.Chances)
		if err != nil {
			return nil, fmt.Errorf("what was seen at %s: %w", s.Site, err)
		}
		chances = string(document)
	}
	return &Question{Query: `INSERT INTO sighting (site, day, made_at, chances, revision) VALUES (?1, ?2, ?3, ?4, 1)
		ON CONFLICT (site) DO UPDATE SET day = excluded.day, made_at = excluded.made_at, chances = excluded.chances,
			revision = sighting.revision + 1
		WHERE sighting.made_at <= excluded.made_at AND (sighting.day <> excluded.day OR sighting.chances <> excluded.chances)`,
		Args: []any{s.Site, s.Day, s.MadeAt.UTC().Format(instant), chances}}, nil
}

// SightingsTogether counts the changes of all sightings together: quick to ask often.
func (a *Archive) SightingsTogether(ctx context.Context) (number int64, err error) {
	if !a.postgres { // as with the changes of records
		ctx = context.WithoutCancel(ctx)
	}
	err = a.asked(ctx, "read what was seen near by from", &Question{
		Query: `SELECT CAST(COALESCE(SUM(revision), 0) AS BIGINT) FROM sighting`,
		Read:  func(rows *sql.Rows) error { return rows.Scan(&number) }})
	return number, err
}

// SightingRevisions counts the changes of each site's sighting, of those from a local date on.
func (a *Archive) SightingRevisions(ctx context.Context, from string) (map[string]int64, error) {
	revisions := map[string]int64{}
	err := a.asked(ctx, "read what was seen near by from", &Question{
		Query: `SELECT site, revision FROM sighting WHERE day >= ?1`, Args: []any{from},
		Read: func(rows *sql.Rows) error {
			var site string
			var revision int64
			err := rows.Scan(&site, &revision)
			revisions[site] = revision
			return err
		}})
	return revisions, err
}

// sightingsAtOnce is how many sites' are asked for in one statement.
const sightingsAtOnce = 200

// SightingsOf reads those of some sites.
func (a *Archive) SightingsOf(ctx context.Context, sites []string) (list []Sighting, err error) {
	for some := range slices.Chunk(sites, sightingsAtOnce) {
		places, args := make([]string, len(some)), make([]any, len(some))
		for i, site := range some {
			places[i], args[i] = fmt.Sprintf("?%d", i+1), site
		}
		err := a.asked(ctx, "read what was seen near by from", &Question{
			Query: `SELECT site, day, made_at, chances FROM sighting WHERE site IN (` + strings.Join(places, ", ") + `)`, Args: args,
			Read: func(rows *sql.Rows) error {
				var s Sighting
				var at, chances string
				err := rows.Scan(&s.Site, &s.Day, &at, &chances)
				if err == nil {
					s.MadeAt, err = time.Parse(instant, at)
				}
				if err == nil && chances != "" {
					err = json.Unmarshal([]byte(chances), &s.Chances)
				}
				list = append(list, s)
				return err
			}})
		if err != nil {
			return nil, err
		}
	}
	return list, nil
}

// ForgetSightings removes those from before a local date.
func (a *Archive) ForgetSightings(ctx context.Context, before string) error {
	return a.within(ctx, "forget what was seen near by in", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM sighting WHERE day < ?1`, before)
		return err
	})
}
