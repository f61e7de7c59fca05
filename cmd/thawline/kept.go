package main

import (
	"context"

	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/season"
)

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
		past := in.Bulletin.Course.Between(in.Bulletin.Course.Start(), in.Now)
		if err := a.PutHours(ctx, placeKey(&in.Site), &past); err != nil {
			g.log.Warn("the past weather was not kept", "error", err)
		}
	}
	hours, visits, err := a.Kept(ctx, in.Site.ID, placeKey(&in.Site), season.WinterStart(in.Now, in.Site.Zone), in.Now)
	if err != nil {
		g.log.Warn("some of the kept weather and records is left out", "site", in.Site.ID, "error", err)
	}
	taught := in.Taught // by a file of records that was named
	if in.Taught, err = daemon.Taught(ctx, a, &in.Site, placeKey(&in.Site), in.Now); err != nil {
		g.log.Warn("what earlier seasons taught is left out", "site", in.Site.ID, "error", err)
	}
	if !in.Taught.Any() {
		taught.Years = in.Taught.Years
		in.Taught = taught
	}
	in.Before = hours
	in.Visits = append(in.Visits, visits...)
}
