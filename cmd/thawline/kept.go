package main

import (
	"context"
	"fmt"
	"time"

	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// seasonStart is the first of November before a moment: winters are followed
// from then.
func seasonStart(now time.Time, zone *time.Location) time.Time {
	here := now.In(zone)
	year := here.Year()
	if here.Month() < time.November {
		year--
	}
	return time.Date(year, time.November, 1, 0, 0, 0, 0, zone)
}

// keptOf is what the archive knows of a site's season.
type keptOf struct {
	visits []records.Visit
	hours  weather.Series
}

func readKept(ctx context.Context, a *archive.Archive, site *forecast.Site, now time.Time) (keptOf, error) {
	from := seasonStart(now, site.Zone)
	stored, err := a.Visits(ctx, site.ID, from, site.Zone)
	if err != nil {
		return keptOf{}, err
	}
	var k keptOf
	for _, s := range stored {
		k.visits = append(k.visits, s.Visit)
	}
	k.hours, err = a.Hours(ctx, placeKey(site), from, now)
	return k, err
}

// keepPast puts the hours of a bulletin that are past into the archive.
func keepPast(ctx context.Context, a *archive.Archive, site *forecast.Site, b *weather.Bulletin, now time.Time) error {
	past := b.Course.Between(b.Course.Start(), now)
	return a.PutHours(ctx, placeKey(site), &past)
}

// withKept adds what the archive knows of a site of the settings to the inputs.
// An archive that can't be read takes nothing else away: it is told.
func withKept(ctx context.Context, g *globals, c *config.Config, in *forecast.Inputs) {
	a, err := openArchive(ctx, c)
	if err != nil {
		g.log.Warn("records and kept weather are left out", "error", err)
		return
	}
	defer a.Close()
	if !in.Kept && in.Bulletin.Source != "file" {
		if err := keepPast(ctx, a, &in.Site, &in.Bulletin, in.Now); err != nil {
			g.log.Warn("the past weather was not kept", "error", err)
		}
	}
	kept, err := readKept(ctx, a, &in.Site, in.Now)
	if err != nil {
		g.log.Warn("records and kept weather are left out", "error", fmt.Errorf("%s: %w", in.Site.ID, err))
		return
	}
	in.Before = kept.hours
	in.Visits = append(in.Visits, kept.visits...)
}
