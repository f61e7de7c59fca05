package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
)

// severalGroups are decisions that say nearly the same of several groups, and the deliveries of
// each in one message.
type severalGroups struct {
	decisions  []alerts.Decision
	deliveries []string
	zone       *time.Location
}

// ofSeveralGroups finds what says nearly the same of several groups in a message that is about
// to go out: what is of no use any more has been left out of it by then. What can't be read is
// said one by one.
func (d *Daemon) ofSeveralGroups(ctx context.Context, v *ledger.Delivery) (out []severalGroups) {
	zone := d.zoneOf(v.Site)
	var ids []string
	var list []alerts.Decision
	for _, part := range append([]ledger.Delivery{*v}, v.With...) {
		if part.Kind != alerts.BoilBy {
			continue
		}
		ids = append(ids, part.ID)
		list = append(list, alerts.Decision{Key: part.DecisionID})
	}
	if len(list) < 2 || zone == nil {
		return nil
	}
	for i := range list {
		var err error
		if list[i], _, _, err = d.outbox().Decision(ctx, list[i].Key); err != nil {
			d.Log.Warn("what a message says of several groups is said one by one", "delivery", v.ID, "error", err)
			return nil
		}
	}
	for _, some := range alerts.Together(list) {
		if len(some) < 2 {
			continue
		}
		one := severalGroups{zone: zone}
		for _, i := range some {
			one.decisions, one.deliveries = append(one.decisions, list[i]), append(one.deliveries, ids[i])
		}
		out = append(out, one)
	}
	return out
}

// joined makes one of the parts of a message that say nearly the same, in the place of the first.
func (s *severalGroups) joined(w *message.Words, parts []ledger.Delivery, name string) []ledger.Delivery {
	own := func(v ledger.Delivery) bool { return slices.Contains(s.deliveries, v.ID) }
	first := slices.IndexFunc(parts, own)
	if first < 0 {
		return parts
	}
	one := &parts[first]
	say := func(room message.Room, aged string) string {
		return w.In(room).AlertOfGroups(s.decisions, name, s.zone, aged)
	}
	if one.Texted != "" {
		one.Texted = say(message.Texted, one.Texted)
	} else {
		one.Texted = say(message.Texted, one.Words)
	}
	one.Words, one.Spoken = say(message.Wide, one.Words), say(message.Aloud, "")
	return append(parts[:first+1], slices.DeleteFunc(parts[first+1:], own)...)
}
