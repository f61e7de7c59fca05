package app

import (
	"context"
	"log/slog"
	"time"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/season"
)

// AddSeason adds what the archive knows of a site of the settings to the inputs.
// An archive that can't be read takes nothing else away: it is told.
func AddSeason(ctx context.Context, log *slog.Logger, c *config.Config, in *forecast.Inputs) {
	a, err := OpenArchive(ctx, c)
	if err != nil {
		log.Warn("records and kept weather are left out", "error", err)
		return
	}
	defer a.Close()
	if !in.Kept && in.Bulletin.Source != "file" {
		past := in.Bulletin.Course.Between(in.Bulletin.Course.Start(), in.Now)
		if err := a.PutHours(ctx, PlaceKey(&in.Site), &past); err != nil {
			log.Warn("the past weather was not kept", "error", err)
		}
	}
	hours, visits, events, err := a.Kept(ctx, in.Site.ID, PlaceKey(&in.Site), season.WinterStart(in.Now, in.Site.Zone), in.Now)
	if err != nil {
		log.Warn("some of the kept weather and records is left out", "site", in.Site.ID, "error", err)
	}
	if in.Attendance, err = daemon.Attendance(ctx, a, &in.Site, in.Now); err != nil {
		log.Warn("what people said of rounds is left out", "site", in.Site.ID, "error", err)
	}
	pauses, err := ledger.New(a.DB()).Pauses(ctx, in.Now)
	if err != nil {
		log.Warn("who pauses is left out", "error", err)
	}
	in.Attendance = append(in.Attendance, daemon.PausedAway(&in.Site, pauses, func(person string) (until time.Time) {
		for i := range c.People {
			if p := &c.People[i]; p.ID == person {
				until = p.PausedUntil
			}
		}
		return until
	}, in.Now)...)
	if in.Told, err = daemon.Told(ctx, a, &in.Site, in.Now); err != nil {
		log.Warn("what the last evening told of rounds is left out", "site", in.Site.ID, "error", err)
	}
	if in.House, err = daemon.House(ctx, a, &in.Site, in.Now); err != nil {
		log.Warn("the sugarhouse's book is left out", "site", in.Site.ID, "error", err)
	}
	if in.Classes, err = a.Classes(ctx, in.Site.ID, in.Now, in.Site.Zone); err != nil {
		log.Warn("visits of classes are left out", "site", in.Site.ID, "error", err)
	}
	if in.Observed, err = daemon.Observed(ctx, a, &in.Site, in.Now); err != nil {
		log.Warn("what was seen in the bush is left out", "site", in.Site.ID, "error", err)
	}
	taught := in.Taught // by a file of records that was named
	if in.Taught, err = daemon.Taught(ctx, a, &in.Site, PlaceKey(&in.Site), in.Now); err != nil {
		log.Warn("what earlier seasons taught is left out", "site", in.Site.ID, "error", err)
	}
	if !in.Taught.Any() {
		taught.Years = in.Taught.Years
		in.Taught = taught
	}
	in.Before = hours
	in.Visits = append(in.Visits, visits...)
	in.TapEvents = append(in.TapEvents, events...)
}

// Taught tells what the seasons that an archive keeps taught about a site.
func Taught(a *archive.Archive) func(context.Context, *forecast.Site, time.Time) (forecast.Taught, error) {
	return func(ctx context.Context, site *forecast.Site, at time.Time) (forecast.Taught, error) {
		return daemon.Taught(ctx, a, site, PlaceKey(site), at)
	}
}
