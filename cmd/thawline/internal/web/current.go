package web

import (
	"context"
	"slices"

	"thawline/forecast"
)

// current is the newest outlook of the view's site, with the age that its weather has
// now; nil where there is none, and where it is so old that its "tomorrow" is past,
// which the view then says.
func (p *Pages) current(ctx context.Context, v *view) *forecast.Outlook {
	behind := p.Outlooks.Behind(ctx, v.Site.ID)
	o := p.Outlooks.Outlook(ctx, v.Site.ID) // waits a while for one that knows of all records
	if behind {
		if behind = p.Outlooks.Behind(ctx, v.Site.ID); !behind {
			o = p.Outlooks.Outlook(ctx, v.Site.ID) // it may have come just after the waiting
		}
	}
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
	if behind {
		v.Since = v.T("outlook_behind")
	}
	v.isolateGroups(&aged.Bush)
	return &aged
}

// Signs that keep a name together where letters run the other way (Unicode Standard Annex
// 9: first strong isolate, and the end of it).
const (
	isolate    = "\u2068"
	isolateEnd = "\u2069"
)

// isolateGroups keeps groups' names, which may be in letters of another direction than the
// page's, apart from the figures beside them. The bush is of a copy of an outlook.
func (v *view) isolateGroups(b *forecast.Bush) {
	if v.Direction != "rtl" {
		return
	}
	b.Groups = slices.Clone(b.Groups)
	for i := range b.Groups {
		b.Groups[i].Name = isolate + b.GroupName(b.Groups[i].ID) + isolateEnd
	}
}
