package archive

import (
	"context"
	"time"
)

// Odd is a record that looks wrong.
type Odd struct {
	Site, Group, At  string // at is RFC 3339, UTC
	LitresATap, Brix float64
}

// What no round brings: a tap gives some 4 L on its best day, and sap has 1 to 4 °Brix.
const (
	mostLitresATap = 12
	leastBrix      = 0.5
	mostBrix       = 6
)

// OddVisits are the newest records since a moment that look wrong: more sap than a tap
// gives, or sugar that sap does not have.
func (a *Archive) OddVisits(ctx context.Context, since time.Time, most int) ([]Odd, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT site, taps_group, collected_at, COALESCE(volume_l, 0) / taps, COALESCE(brix_pct, 0) FROM visit
		WHERE removed = 0 AND taps > 0 AND collected_at > ?1 AND (volume_l > ?2 * taps OR brix_pct > ?3 OR brix_pct < ?4) ORDER BY collected_at DESC LIMIT ?5`,
		since.UTC().Format(instant), float64(mostLitresATap), float64(mostBrix), leastBrix, most)
	if err != nil {
		return nil, a.told("look through the records of", err)
	}
	defer rows.Close()
	var out []Odd
	for rows.Next() {
		var o Odd
		if err := rows.Scan(&o.Site, &o.Group, &o.At, &o.LitresATap, &o.Brix); err != nil {
			return nil, a.told("look through the records of", err)
		}
		out = append(out, o)
	}
	return out, rows.Err()
}

// Budget is how much a service was asked today.
type Budget struct {
	Service string
	Used    float64
}

// Budgets are those of all services that were asked, as of a moment.
func (a *Archive) Budgets(ctx context.Context, now time.Time) ([]Budget, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT service, CASE WHEN day = ?1 THEN used ELSE 0 END FROM service_budget ORDER BY service`,
		now.UTC().Format(time.DateOnly))
	if err != nil {
		return nil, a.told("read budgets from", err)
	}
	defer rows.Close()
	var out []Budget
	for rows.Next() {
		var b Budget
		if err := rows.Scan(&b.Service, &b.Used); err != nil {
			return nil, a.told("read budgets from", err)
		}
		out = append(out, b)
	}
	return out, rows.Err()
}

// OutlooksMadeAt says of each site when its newest outlook was made, as a text that
// changes with it.
func (a *Archive) OutlooksMadeAt(ctx context.Context) (map[string]string, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT site, made_at FROM outlook`)
	if err != nil {
		return nil, a.told("read outlooks from", err)
	}
	defer rows.Close()
	out := map[string]string{}
	for rows.Next() {
		var site, made string
		if err := rows.Scan(&site, &made); err != nil {
			return nil, a.told("read outlooks from", err)
		}
		out[site] = made
	}
	return out, rows.Err()
}
