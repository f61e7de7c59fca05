package main

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"time"

	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// How much weather is asked for.
const (
	pastDays    = 14
	futureDays  = 16
	askDeadline = 90 * time.Second
)

// askServices asks the weather services of the settings in their order.
func askServices(ctx context.Context, g *globals, c *config.Config, site *forecast.Site, now time.Time) (gathered, error) {
	for _, w := range c.Warnings {
		g.log.Warn(w.String())
	}
	chain, zoner, err := newChain(g, c, keptIn{dir: c.DataDir})
	if err != nil {
		return gathered{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, askDeadline)
	defer cancel()
	got, err := askChain(ctx, chain, site, now)
	if err == nil && site.Zone == nil && got.bulletin.ZoneName == "" && got.bulletin.Source == zoner.Name() {
		if name, err := zoner.Zone(ctx, site.Place); err == nil {
			got.bulletin.ZoneName = name
		}
	}
	return got, err
}

// asksServices is a chain of services, or cells of sites that share their answers.
type asksServices interface {
	Ask(ctx context.Context, siteID string, r source.Request) (source.Outcome, error)
}

func askChain(ctx context.Context, chain asksServices, site *forecast.Site, now time.Time) (gathered, error) {
	outcome, err := chain.Ask(ctx, placeKey(site), source.Request{Place: site.Place, Now: now, PastDays: pastDays, Days: futureDays})
	got := gathered{bulletin: outcome.Bulletin, kept: outcome.Kept}
	for _, a := range outcome.Attempts {
		got.passedOver = append(got.passedOver, forecast.PassedOver{Service: a.Source, Kind: string(a.Fault.Kind), Detail: a.Fault.What()})
	}
	return got, err
}

// placeKey names a site for the kept forecast: bushes without settings share
// one id, but not one place.
func placeKey(site *forecast.Site) string {
	return site.ID + "@" + weather.Coordinate(site.Place.LatitudeDeg) + "," + weather.Coordinate(site.Place.LongitudeDeg)
}

// keptIn is where answers and budgets are kept: "" keeps nothing on disk, and
// without an archive the budgets are this program's own. A transport stands in for
// the network.
type keptIn struct {
	dir       string
	archive   *archive.Archive
	shared    bool // by several daemons: the last good forecasts lie in the archive
	transport http.RoundTripper
}

// newChain makes the adapters in the order of the settings.
func newChain(g *globals, c *config.Config, in keptIn) (*source.Chain, *source.OpenMeteo, error) {
	options := source.Options{Contact: c.Weather.Contact, Version: version, Transport: in.transport, Log: g.log, Bounds: c.Weather.Bounds()}
	if in.archive != nil {
		options.Budgets = in.archive
	}
	chain := &source.Chain{Log: g.log}
	if in.dir != "" {
		private()
		options.CacheDir = filepath.Join(in.dir, "weather-answers")
		keep, err := source.NewKeep(filepath.Join(in.dir, "last-forecasts"))
		if err != nil {
			return nil, nil, err
		}
		chain.Keep = keep
		if in.shared {
			chain.Keep = source.NewSharedKeep(in.archive)
		}
	}
	client, err := source.NewClient(options)
	if err != nil {
		return nil, nil, err
	}
	for _, name := range c.Weather.Sources {
		service, known := c.Weather.Forecaster(name, client)
		if !known {
			return nil, nil, fmt.Errorf("weather.sources: no service called %s", name)
		}
		chain.Forecasters = append(chain.Forecasters, service)
	}
	return chain, source.NewOpenMeteo(client, c.Weather.OpenMeteo), nil
}
