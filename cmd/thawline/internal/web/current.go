package web

import (
	"context"

	"thawline/forecast"
)

// current is the newest outlook of the view's site, with the age that its weather has
// now; nil where there is none, and where it is so old that its "tomorrow" is past,
// which the view then says.
func (p *Pages) current(ctx context.Context, v *view) *forecast.Outlook {
	o := p.Outlooks.Outlook(ctx, v.Site.ID)
	if o == nil {
		return nil
	}
	now := p.Now()
	if now.Sub(o.IssuedAt) > forecast.StandsFor {
		v.Stopped = v.words.Stopped(v.Site.Name, o.Source.IssuedAt.In(v.Site.Zone))
		return nil
	}
	aged := *o
	aged.Source.AgeHours = max(now.Sub(o.Source.IssuedAt).Hours(), 0)
	if p.Outlooks.Behind(ctx, v.Site.ID) {
		v.Since = v.T("outlook_behind")
	}
	return &aged
}
