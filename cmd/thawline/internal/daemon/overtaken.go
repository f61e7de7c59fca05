package daemon

import (
	"context"
	"errors"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
)

// overtaken reports whether a message need not go out any more, whoever it is for: somebody
// has been to its group since, or its visit of a class is taken back, which can't be where the records are still what they were
// then. An escalation goes by what it passes on.
func (d *Daemon) overtaken(ctx context.Context, v *ledger.Delivery, still bool) (bool, error) {
	goesBy := v.Kind.OfGroup() || v.Kind.OfClass() || v.Kind == alerts.NewRound
	if v.Kind != alerts.Escalation && (still || !goesBy) {
		return false, nil
	}
	decision, _, _, err := d.Ledger.Decision(ctx, v.DecisionID)
	if of, escalates := strings.CutPrefix(decision.Key, string(alerts.Escalation)+":"); err == nil && escalates {
		decision, _, _, err = d.Ledger.Decision(ctx, of)
	}
	if errors.Is(err, ledger.ErrNone) {
		return false, nil // cleared away since
	}
	return err == nil && decision.Overtaken(d.Outlook(ctx, v.Site)), err
}

// CalledOff reports whether what was decided about a group is no longer so, and since when:
// its taps are pulled, or somebody has been there.
func (d *Daemon) CalledOff(ctx context.Context, decision *alerts.Decision, now time.Time) (time.Time, bool) {
	d.mu.Lock()
	site := d.sites[decision.Site]
	d.mu.Unlock()
	if site == nil || decision.Facts.GroupID == "" {
		return time.Time{}, false
	}
	if at, pulled := d.pulled(ctx, site, now)[decision.Facts.GroupID]; pulled {
		return at, true
	}
	o := d.Outlook(ctx, decision.Site)
	if !decision.Overtaken(o) {
		return time.Time{}, false
	}
	if since := o.Work.Group(decision.Facts.GroupID).SinceVisit; since != nil {
		return *since, true
	}
	return o.IssuedAt, true
}
