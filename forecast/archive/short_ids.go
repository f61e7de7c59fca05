package archive

import (
	"context"
	"regexp"
)

var endOfID = regexp.MustCompile(`^[0-9a-f][0-9a-f-]{3,34}$`)

// IDsEnding returns the ids of the visits and tap events whose id ends so, those that were
// taken out too: lists show the end of an id, which differs where its beginning is the
// hour it was written. An end of fewer than four characters finds nothing.
func (a *Archive) IDsEnding(ctx context.Context, end string) ([]string, error) {
	if !endOfID.MatchString(end) {
		return nil, nil
	}
	rows, err := a.db.QueryContext(ctx, `SELECT id FROM visit WHERE id LIKE ?1 UNION SELECT id FROM tap_event WHERE id LIKE ?1 ORDER BY 1`, "%"+end)
	if err != nil {
		return nil, a.told("read records from", err)
	}
	defer rows.Close()
	var ids []string
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, a.told("read records from", err)
		}
		ids = append(ids, id)
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read records from", err)
	}
	return ids, nil
}
