package main

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"time"

	"thawline/config"
	"thawline/forecast"
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
	chain, zoner, err := newChain(g, c, c.DataDir, nil)
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

func askChain(ctx context.Context, chain *source.Chain, site *forecast.Site, now time.Time) (gathered, error) {
	outcome, err := chain.Ask(ctx, placeKey(site), source.Request{Place: site.Place, Now: now, PastDays: pastDays, Days: futureDays})
	if err != nil {
		return gathered{}, err
	}
	got := gathered{bulletin: outcome.Bulletin, kept: outcome.Kept}
	for _, a := range outcome.Attempts {
		got.passed = append(got.passed, a.Fault.Error())
	}
	return got, nil
}

// placeKey names a site for the kept forecast: bushes without settings share
// one id, but not one place.
func placeKey(site *forecast.Site) string {
	return site.ID + "@" + weather.Coordinate(site.Place.LatitudeDeg) + "," + weather.Coordinate(site.Place.LongitudeDeg)
}

// newChain makes the adapters in the order of the settings. dir "" keeps
// nothing on disk; a transport stands in for the network.
func newChain(g *globals, c *config.Config, dir string, transport http.RoundTripper) (*source.Chain, *source.OpenMeteo, error) {
	options := source.Options{Contact: c.Weather.Contact, Version: version, Transport: transport, Log: g.log}
	chain := &source.Chain{Log: g.log}
	if dir != "" {
		options.CacheDir = filepath.Join(dir, "weather-answers")
		keep, err := source.NewKeep(filepath.Join(dir, "last-forecasts"))
		if err != nil {
			return nil, nil, err
		}
		chain.Keep = keep
	}
	client, err := source.NewClient(options)
	if err != nil {
		return nil, nil, err
	}
	om := c.Weather.OpenMeteo
	openMeteo := source.NewOpenMeteo(client, source.OpenMeteoOptions{BaseURL: om.BaseURL, EnsembleBaseURL: om.EnsembleBaseURL,
		ArchiveBaseURL: om.ArchiveBaseURL, APIKey: om.APIKey.Reveal(), Model: om.Model, EnsembleModel: om.EnsembleModel})
	for _, name := range c.Weather.Sources {
		switch name {
		case config.OpenMeteoName:
			chain.Forecasters = append(chain.Forecasters, openMeteo)
		case config.NWSName:
			chain.Forecasters = append(chain.Forecasters, source.NewNWS(client, source.NWSOptions{BaseURL: c.Weather.NWS.BaseURL}))
		case config.MetNorwayName:
			chain.Forecasters = append(chain.Forecasters, source.NewMETNorway(client, source.METNorwayOptions{BaseURL: c.Weather.MetNorway.BaseURL}))
		case config.EnvironmentCanadaName:
			chain.Forecasters = append(chain.Forecasters, source.NewEnvironmentCanada(client,
				source.EnvironmentCanadaOptions{BaseURL: c.Weather.EnvironmentCanada.BaseURL, City: c.Weather.EnvironmentCanada.City}))
		default:
			return nil, nil, fmt.Errorf("weather.sources: no service called %s", name)
		}
	}
	return chain, openMeteo, nil
}
