package web

import (
	"context"
	"slices"
	"strings"
	"time"

	"thawline/forecast"
)

// standsFor is how long an outlook says something of today: the daemon makes a new one
// every few hours, from the last good forecast too, unless no weather can be used.
const standsFor = 20 * time.Hour

// current is the newest outlook of the view's site, with the age that its weather has
// now; nil where there is none, and where it is so old that its "tomorrow" is past,
// which the view then says.
func (p *Pages) current(ctx context.Context, v *view) *forecast.Outlook {
	o := p.Outlooks.Outlook(ctx, v.Site.ID)
	if o == nil {
		return nil
	}
	now := p.Now()
	if now.Sub(o.IssuedAt) > standsFor {
		v.Stopped = v.words.Stopped(v.Site.Name, o.Source.IssuedAt.In(v.Site.Zone))
		return nil
	}
	aged := *o
	aged.Source.AgeHours = max(now.Sub(o.Source.IssuedAt).Hours(), 0)
	p.sinceWritten(ctx, v, &aged)
	return &aged
}

// sinceWritten takes out of an outlook what it says of groups that somebody has been
// to since: nobody is sent to pails that were just emptied. The view tells of it.
func (p *Pages) sinceWritten(ctx context.Context, v *view, o *forecast.Outlook) {
	visits, err := p.Records.Visits(ctx, v.Site.ID, o.IssuedAt, v.Site.Zone)
	if err != nil {
		p.Log.Error("the records can't be read", "site", v.Site.ID, "error", err)
		return
	}
	seen := map[string]bool{}
	var names []string
	for i := range visits {
		if s := &visits[i]; s.Collected() && !s.DateOnly && s.CollectedAt.After(o.IssuedAt) && !seen[s.Group] {
			seen[s.Group] = true
			names = append(names, o.Bush.GroupName(s.Group))
		}
	}
	if len(names) == 0 {
		return
	}
	o.Rounds = slices.DeleteFunc(slices.Clone(o.Rounds), func(r forecast.Round) bool { return seen[r.Group] })
	o.Overflow = slices.DeleteFunc(slices.Clone(o.Overflow), func(f forecast.Overflow) bool { return seen[f.Group] })
	v.Since = v.T("since_written", "Groups", strings.Join(names, ", "))
}
