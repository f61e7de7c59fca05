package daemon

import (
	"context"
	"errors"
	"strings"

	"thawline/alerts"
	"thawline/alerts/ledger"
)

// overtaken reports whether a message need not go out any more, whoever it is for: somebody
// has been to its group since, which can't be where the records are still what they were
// then. An escalation goes by what it passes on.
func (d *Daemon) overtaken(ctx context.Context, v *ledger.Delivery, still bool) (bool, error) {
	if v.Kind != alerts.Escalation && (still || !v.Kind.OfGroup()) {
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
