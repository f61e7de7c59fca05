package web

import (
	"cmp"
	"context"
	"math"
	"slices"

	"thawline/forecast"
)

// neighbourRow is what a bush gives whose people agreed that others who agreed too see it.
type neighbourRow struct {
	Name, SoFar, PerTap, Tomorrow string
	Own                           bool
}

// mostNeighbours is how many bushes stand beside one's own.
const mostNeighbours = 8

// neighbours are the bush of a page and those nearest to it, where all of them have agreed
// to show each other their litres; none where this one has not. Who only looks on sees none.
func (p *Pages) neighbours(ctx context.Context, v *view) []neighbourRow {
	if !v.Site.Shares.Litres || !v.May("crew") {
		return nil
	}
	var near []forecast.Site
	for _, s := range p.Outlooks.Sites() {
		if s.Shares.Litres && s.ID != v.Site.ID {
			near = append(near, s)
		}
	}
	lat, lon := v.Site.ToldPlace()
	far := func(s *forecast.Site) float64 { // by the places as they are told
		y, x := s.ToldPlace()
		return math.Hypot(y-lat, (x-lon)*math.Cos(lat*math.Pi/180))
	}
	slices.SortFunc(near, func(a, b forecast.Site) int { return cmp.Or(cmp.Compare(far(&a), far(&b)), cmp.Compare(a.ID, b.ID)) })
	var rows []neighbourRow
	for i := range near[:min(len(near), mostNeighbours)] {
		if row, ok := p.neighbour(ctx, v, &near[i]); ok {
			rows = append(rows, row)
		}
	}
	if own, ok := p.neighbour(ctx, v, v.Site); ok && len(rows) > 0 {
		own.Own = true
		rows = append([]neighbourRow{own}, rows...)
	}
	return rows
}

// neighbour is what a bush has given this season, and gives tomorrow.
func (p *Pages) neighbour(ctx context.Context, v *view, s *forecast.Site) (row neighbourRow, ok bool) {
	o := p.Outlooks.Outlook(ctx, s.ID)
	if o == nil || o.Season.Sap == nil || s.Taps() == 0 {
		return row, false
	}
	row = neighbourRow{Name: s.Name, SoFar: v.Volume(o.Season.Sap.SoFarL.P50),
		PerTap: v.Volume(o.Season.Sap.SoFarL.P50 / float64(s.Taps())), Tomorrow: "–"}
	date := p.Now().In(s.Zone).AddDate(0, 0, 1).Format("2006-01-02")
	for i := range o.Days {
		if o.Days[i].Date == date {
			row.Tomorrow = v.Volume(o.Days[i].VolumeL.P50)
		}
	}
	return row, true
}
