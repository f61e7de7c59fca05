package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
)

// TellRescued tells each keeper, once, that a copy was put in the place of damaged
// records, and whether something that was written since then is gone.
func (d *Daemon) TellRescued(ctx context.Context, made time.Time, gone bool, now time.Time) error {
	key := "rescued_whole"
	if gone {
		key = "rescued_part"
	}
	d.mu.Lock()
	sites, people := d.settings.Sites, d.settings.People
	d.mu.Unlock()
	told := map[string]bool{}
	for i := range sites {
		site := &sites[i]
		keepers := slices.DeleteFunc(slices.Clone(people), func(p channel.Person) bool {
			return auth.Role(p.Role) != auth.Keeper || !p.Concerns(site.ID) || told[p.ID]
		})
		var to []ledger.Recipient
		for k := range keepers {
			p := &keepers[k]
			told[p.ID] = true
			if hears, err := d.hears(ctx, p, now); err != nil || !hears {
				continue
			}
			w, err := d.Words(p.Reader)
			if err != nil {
				return err
			}
			r := d.recipient(p, w, func(w *message.Words) string {
				return w.Reply(w.Say(key, map[string]any{"When": w.Date(made.In(site.Zone))}))
			})
			r.NotBefore = p.Quiet.End(now.In(site.Zone))
			to = append(to, r)
		}
		if len(to) == 0 {
			continue
		}
		decision := alerts.Decision{Kind: alerts.Rescued, Site: site.ID,
			Key: string(alerts.Rescued) + ":" + now.UTC().Format(time.RFC3339), Until: now.AddDate(0, 0, 7),
			Why: []string{"the records were damaged"}}
		if _, err := d.Ledger.Record(ctx, decision, to, now); err != nil {
			return err
		}
	}
	return nil
}
