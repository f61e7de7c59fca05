package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// PutOutlook keeps the newest outlook of a site, as compressed JSON; an older one
// does not replace a newer.
func (a *Archive) PutOutlook(ctx context.Context, site string, made, issued time.Time, outlook any) error {
	return a.PutMade(ctx, &Made{Site: site, Made: made, Issued: issued, Outlook: outlook})
}

// Outlook reads the newest outlook of a site into a value, if it was made after a
// moment; it reports false if there is none such.
func (a *Archive) Outlook(ctx context.Context, site string, after time.Time, into any) (bool, error) {
	var document []byte
	err := a.db.QueryRowContext(ctx, `SELECT document FROM outlook WHERE site = ?1 AND made_at > ?2`, site,
		after.UTC().Format(instant)).Scan(&document)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, a.told("read the outlook from", err)
	}
	if err := unpacked(document, into); err != nil {
		return false, fmt.Errorf("outlook of %s: %w", site, err)
	}
	return true, nil
}

// OutlooksMade are the sites whose newest outlook was made after a moment.
func (a *Archive) OutlooksMade(ctx context.Context, after time.Time) ([]string, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT site FROM outlook WHERE made_at > ?1`, after.UTC().Format(instant))
	if err != nil {
		return nil, a.told("read outlooks from", err)
	}
	defer rows.Close()
	var sites []string
	for rows.Next() {
		var site string
		if err := rows.Scan(&site); err != nil {
			return nil, a.told("read outlooks from", err)
		}
		sites = append(sites, site)
	}
	return sites, rows.Err()
}

// OutlooksIssued says of each site when the weather of its newest outlook was
// issued.
func (a *Archive) OutlooksIssued(ctx context.Context) (map[string]time.Time, error) {
	rows, err := a.db.QueryContext(ctx, `SELECT site, issued_at FROM outlook`)
	if err != nil {
		return nil, a.told("read outlooks from", err)
	}
	defer rows.Close()
	out := map[string]time.Time{}
	for rows.Next() {
		var site, issued string
		if err := rows.Scan(&site, &issued); err != nil {
			return nil, a.told("read outlooks from", err)
		}
		if out[site], err = time.Parse(instant, issued); err != nil {
			return nil, a.told("read outlooks from", err)
		}
	}
	if err := rows.Err(); err != nil {
		return nil, a.told("read outlooks from", err)
	}
	return out, nil
}
