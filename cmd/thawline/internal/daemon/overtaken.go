package daemon

import (
	"context"
	"errors"
	"strings"

	"thawline/alerts"
	"thawline/alerts/ledger"
)

// overtaken reports whether a message need not go out any more, whoever it is for: somebody
// has been to its group since. An escalation goes by what it passes on.
func (d *Daemon) overtaken(ctx context.Context, v *ledger.Delivery) (bool, error) {
	if !v.Kind.OfGroup() && v.Kind != alerts.Escalation {
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
