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
	keepBulletins = 11 * 24 * time.Hour // a forecast does not reach further
	keepLeases    = 2 * 24 * time.Hour
	keepReadings  = 60 * 24 * time.Hour
	keepEntries   = 365 * 24 * time.Hour // a phone sends what it holds within a season
	keepEvenings  = 10 * 365 * 24 * time.Hour
	keepWeather   = 15 * 365 * 24 * time.Hour // springs to compare with; records of what was collected are kept for good
)

// housekeeping turns yesterday's readings into records, lets go what nobody
// looks back on any more, and looks after the database.
func (d *Daemon) housekeeping(ctx context.Context, site *forecast.Site, _, now time.Time) error {
	d.mu.Lock()
	past := d.settings.PastWeather
	d.mu.Unlock()
	if past != nil {
		if err := past(ctx, site, now); err != nil { // there is another night
			d.Log.Warn("weather of earlier seasons is not all here", "site", site.ID, "error", err)
		}
	}
	return errors.Join(
		d.fromGauges(ctx, site, now),
		d.Ledger.Forget(ctx, site.ID, now.Add(-keepDecisions)),
		d.Ledger.ForgetVerdicts(ctx, site.ID, now.Add(-keepEvenings)),
		d.Ledger.ForgetLeases(ctx, site.ID, now.Add(-keepLeases)),
		d.Archive.Tidy(ctx, now.Add(-keepReadings)),
		d.Archive.ForgetBulletins(ctx, now.Add(-keepBulletins)),
		d.Archive.ForgetEntries(ctx, now.Add(-keepEntries)),
		d.Archive.ForgetHours(ctx, d.PlaceKey(site), now.Add(-keepWeather)),
		d.Archive.ForgetSightings(ctx, now.Add(-keepSightings).Format(time.DateOnly)),
		d.Archive.ForgetAttendances(ctx, site.ID, now.Add(-keepDecisions)),
		d.Archive.ForgetEvenings(ctx, site.ID, now.Add(-keepEvenings)))
}
