package hooks

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"thawline/alerts"
	"thawline/alerts/feed"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast"
)

const capSender = "thawline@thawline.invalid"

// warned is a warning that is still of use.
type warned struct {
	v        *ledger.Delivery
	language string
	decision alerts.Decision
	at       time.Time // when it was made, or called off
	off      bool
}

// about names what a warning is about: a later one takes the place of an earlier.
func (w *warned) about() string {
	return string(w.v.Kind) + " " + w.decision.Facts.GroupID + " " + w.decision.Facts.Date + " " + w.decision.Facts.What
}

// warningOf is what was last said in the way of warnings about a site, as a CAP message: a
// warning, one that takes the place of others, or that one is called off; ledger.ErrNone
// where there is none that is still of use.
func (h *Hooks) warningOf(ctx context.Context, site *forecast.Site, now time.Time) (document, error) {
	told, err := h.Ledger.Told(ctx, site.ID, alerts.KindsWhere((*alerts.Profile).Warns), mostNews)
	if err != nil {
		return document{}, err
	}
	var list []warned
	for _, copies := range byDecision(told) {
		if !copies[0].Until.After(now) {
			continue
		}
		w := warned{at: copies[0].MadeAt}
		w.v, w.language = h.Daemon.UsualCopy(copies)
		if w.decision, _, _, err = h.Ledger.Decision(ctx, w.v.DecisionID); err != nil {
			return document{}, err
		}
		if at, off := h.Daemon.CalledOff(ctx, &w.decision, now); off {
			w.off = true
			if at.After(w.at) {
				w.at = at
			}
		}
		list = append(list, w)
	}
	if len(list) == 0 {
		return document{}, ledger.ErrNone
	}
	newest := slices.MaxFunc(list, func(a, b warned) int { return cmp.Or(a.at.Compare(b.at), a.v.MadeAt.Compare(b.v.MadeAt)) })
	out, err := h.capOf(&newest, list, site)
	if err != nil {
		return document{}, err
	}
	body, err := feed.CAP(out)
	return document{body, newest.at}, err
}

func (h *Hooks) capOf(newest *warned, list []warned, site *forecast.Site) (*feed.Warning, error) {
	v := newest.v
	here := func(w *warned) feed.Reference {
		return feed.Reference{ID: w.v.DecisionID, Sent: w.v.MadeAt.In(site.Zone)}
	}
	if newest.off {
		return &feed.Warning{ID: uuid.NewSHA1(uuid.NameSpaceURL, []byte("thawline:called off:"+v.DecisionID)).String(),
			Kind: feed.Cancel, References: []feed.Reference{here(newest)}, Sender: capSender, Sent: newest.at.In(site.Zone)}, nil
	}
	profile, _ := alerts.ProfileOf(v.Kind)
	words, err := h.Daemon.Words(message.Reader{Language: newest.language})
	if err != nil {
		return nil, err
	}
	latitude, longitude, radius := toldPlace(site)
	out := &feed.Warning{ID: v.DecisionID, Sender: capSender, Sent: v.MadeAt.In(site.Zone), Expires: v.Until.In(site.Zone),
		Event: words.Say("kind_"+string(v.Kind), nil), Headline: v.Words, Description: v.Words,
		Language: newest.language, Class: profile.Warning.By(&newest.decision, v.MadeAt), AreaName: site.Name, LatitudeDeg: latitude,
		LongitudeDeg: longitude, RadiusKM: radius}
	for i := range list {
		if earlier := &list[i]; earlier.v.DecisionID != v.DecisionID && earlier.v.MadeAt.Before(v.MadeAt) &&
			earlier.about() == newest.about() {
			out.Kind, out.References = feed.Update, append(out.References, here(earlier))
		}
	}
	return out, nil
}
