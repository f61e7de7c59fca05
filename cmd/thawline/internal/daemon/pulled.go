package daemon

import (
	"context"
	"time"

	"thawline/alerts/ledger"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// pulled says which groups of a site have their taps pulled, and since when.
func (d *Daemon) pulled(ctx context.Context, site *forecast.Site, now time.Time) map[string]time.Time {
	stored, err := d.Archive.TapEvents(ctx, site.ID, season.WinterStart(now, site.Zone), site.Zone)
	if err != nil {
		d.Log.Error("the records of taps can't be read", "site", site.ID, "error", err)
		return nil
	}
	var events []records.TapEvent
	for i := range stored {
		events = append(events, stored[i].TapEvent)
	}
	return forecast.PulledGroups(site, events, now)
}

// allPulled reports whether no group of a site has its taps in any more.
func (d *Daemon) allPulled(ctx context.Context, site *forecast.Site, now time.Time) bool {
	return len(d.pulled(ctx, site, now)) == len(site.Groups)
}

// ofPulled reports whether a message is about what hangs in a group whose taps have been
// pulled since.
func (d *Daemon) ofPulled(ctx context.Context, v *ledger.Delivery, now time.Time) bool {
	if !v.Kind.OfGroup() {
		return false
	}
	d.mu.Lock()
	site := d.sites[v.Site]
	d.mu.Unlock()
	if site == nil {
		return false
	}
	decision, _, _, err := d.Ledger.Decision(ctx, v.DecisionID)
	if err != nil || decision.Facts.GroupID == "" {
		return false
	}
	_, pulled := d.pulled(ctx, site, now)[decision.Facts.GroupID]
	return pulled
}
