package daemon

import (
	"context"
	"errors"
	"time"

	"thawline/forecast"
)

// How long the ledger and the readings of gauges are kept: two seasons to look
// back on, so that a decision of last spring can still be explained.
const (
	keepDecisions = 2 * 365 * 24 * time.Hour
	keepReadings  = 60 * 24 * time.Hour
)

// housekeeping turns yesterday's readings into records, lets go what nobody
// looks back on any more, and looks after the database.
func (d *Daemon) housekeeping(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	return errors.Join(
		d.fromGauges(ctx, site, now),
		d.Ledger.Forget(ctx, site.ID, now.Add(-keepDecisions)),
		d.Archive.Tidy(ctx, now.Add(-keepReadings)))
}
