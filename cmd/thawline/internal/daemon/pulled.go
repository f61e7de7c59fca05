package daemon

import (
	"context"
	"slices"
	"time"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/intake"
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

// OfPulled reports whether a message is about what hangs in a group whose taps have been
// pulled since.
func (d *Daemon) OfPulled(ctx context.Context, v *ledger.Delivery, now time.Time) bool {
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

// untapped lists the groups of a site of which nobody has said that their taps are in.
func (d *Daemon) untapped(ctx context.Context, site *forecast.Site, now time.Time) ([]string, error) {
	winter := season.WinterStart(now, site.Zone)
	stored, err := d.Archive.TapEvents(ctx, site.ID, winter, site.Zone)
	if err != nil {
		return nil, err
	}
	var events []records.TapEvent
	for i := range stored {
		events = append(events, stored[i].TapEvent)
	}
	kept, err := d.Archive.Visits(ctx, site.ID, winter, site.Zone)
	if err != nil {
		return nil, err
	}
	var visits []records.Visit
	for i := range kept {
		visits = append(visits, kept[i].Visit)
	}
	return forecast.UntappedGroups(site, visits, events, now), nil
}

// tapsDone notes that the taps of a group, or of all, were pulled or put in. Where the text
// names none, the only one is meant of which that can be, and of taps that are put in all
// groups of which nobody has said so yet, as long as none is pulled.
func (d *Daemon) tapsDone(ctx context.Context, in *incoming) (string, error) {
	kind := records.TapKind(in.said.Kind)
	pulled := d.pulled(ctx, in.site, in.now)
	untapped, err := d.untapped(ctx, in.site, in.now)
	if err != nil {
		return "", err
	}
	var all, fit []string
	for i := range in.site.Groups {
		id := in.site.Groups[i].ID
		all = append(all, id)
		_, out := pulled[id]
		out = out || len(untapped) < len(in.site.Groups) && slices.Contains(untapped, id)
		if out == (kind == records.Tapped) {
			fit = append(fit, id)
		}
	}
	groups := all
	switch {
	case in.said.Group != "":
		groups = []string{in.said.Group}
	case len(all) == 1 || in.said.All && len(fit) == 0:
	case kind == records.Tapped && len(untapped) == len(all): // the first word of it this season: of all
	case in.said.All || len(fit) == 1 || kind == records.Tapped && len(untapped) > 0 && len(pulled) == 0:
		groups = fit
	default:
		values := in.example()
		values["Word"] = in.words.Say("taps_word_"+string(kind), nil)
		return in.words.Say("taps_which", values), nil
	}
	noted, err := d.intake().NoteTaps(ctx, in.site, writer(in.person), kind, groups, in.on, in.now)
	if said, known := intake.SayTapFault(in.words, err); known {
		return said, nil
	}
	if err != nil {
		return "", err
	}
	return intake.SayTaps(in.words, in.site, noted), nil
}
