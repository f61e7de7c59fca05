package app

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"time"

	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// How much weather is asked for.
const (
	PastDays    = 14
	FutureDays  = 16
	AskDeadline = 90 * time.Second
)

// Folders below data_dir.
const (
	weatherAnswers = "weather-answers"
	lastForecasts  = "last-forecasts"
)

// FetchWeather asks the weather services of the settings in their order.
func FetchWeather(ctx context.Context, env Env, c *config.Config, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	for _, w := range c.Warnings {
		env.Log.Warn(w.String())
	}
	chain, zoner, err := Services(env, c, Storage{dir: c.DataDir})
	if err != nil {
		return forecast.Inputs{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, AskDeadline)
	defer cancel()
	got, err := Fetch(ctx, chain, site, now)
	if err == nil && site.Zone == nil && got.Bulletin.ZoneName == "" && got.Bulletin.Source == zoner.Name() {
		if name, err := zoner.Zone(ctx, site.Place); err == nil {
			got.Bulletin.ZoneName = name
		}
	}
	return got, err
}

// services is a chain of services, or cells of sites that share their answers.
type services interface {
	Ask(ctx context.Context, siteID string, r source.Request) (source.Outcome, error)
	Warnings(ctx context.Context, siteID string, place weather.Place, now time.Time) (weather.Warnings, []source.Attempt)
}

// Fetch asks a chain of services for a site's weather, and tells who was passed over.
func Fetch(ctx context.Context, chain services, site *forecast.Site, now time.Time) (forecast.Inputs, error) {
	return fetch(ctx, chain, site, now, PastDays, nil)
}

// fetch asks for so many days of the past, too; read is the bush's own thermometer, by
// which stations are judged, nil for none.
func fetch(ctx context.Context, chain services, site *forecast.Site, now time.Time, pastDays int,
	read source.Read) (forecast.Inputs, error) {
	request := source.Request{Place: site.Place, Now: now, PastDays: pastDays, Days: FutureDays, Stations: site.Stations, Read: read}
	outcome, err := chain.Ask(ctx, PlaceKey(site), request)
	got := forecast.Inputs{Bulletin: outcome.Bulletin, Kept: outcome.Kept, PassedOver: passedOver(outcome.Attempts)}
	if err == nil {
		got.Watch = FetchWarnings(ctx, chain, site, now)
	}
	return got, err
}

// FetchWarnings asks a chain of services for a site's official warnings.
func FetchWarnings(ctx context.Context, chain services, site *forecast.Site, now time.Time) forecast.Watch {
	got, failed := chain.Warnings(ctx, PlaceKey(site), site.Place, now)
	return forecast.Watch{Warnings: got, Faults: passedOver(failed)}
}

func passedOver(attempts []source.Attempt) (over []forecast.PassedOver) {
	for _, a := range attempts {
		over = append(over, forecast.PassedOver{Service: a.Source, Kind: string(a.Fault.Kind), Detail: a.Fault.What()})
	}
	return over
}

// PlaceKey names a site for the kept forecast: bushes without settings share
// one id, but not one place.
func PlaceKey(site *forecast.Site) string {
	return site.ID + "@" + weather.Coordinate(site.Place.LatitudeDeg) + "," + weather.Coordinate(site.Place.LongitudeDeg)
}

// Storage is where answers and budgets are kept: "" keeps nothing on disk, and
// without an archive the budgets are this program's own. A transport stands in for
// the network.
type Storage struct {
	dir       string
	archive   *archive.Archive
	shared    bool // by several daemons: the last good forecasts lie in the archive
	Transport http.RoundTripper
}

// StorageOf is where a program with these settings and this archive keeps answers.
func StorageOf(c *config.Config, a *archive.Archive) Storage {
	return Storage{dir: c.DataDir, archive: a, shared: c.Database.Given()}
}

// Services makes the adapters in the order of the settings.
func Services(env Env, c *config.Config, in Storage) (*source.Chain, *source.OpenMeteo, error) {
	options := source.Options{Contact: c.Weather.Contact, Version: env.Version, Transport: in.Transport, Log: env.Log,
		Bounds: c.Weather.Bounds()}
	if in.archive != nil {
		options.Budgets = in.archive
	}
	chain := &source.Chain{Log: env.Log}
	if in.dir != "" {
		KeepPrivate()
		options.CacheDir = filepath.Join(in.dir, weatherAnswers)
		keep, err := source.NewKeep(filepath.Join(in.dir, lastForecasts))
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
		if warner, warns := service.(source.Warner); warns {
			chain.Warners = append(chain.Warners, warner)
		}
	}
	for i := range c.Sites {
		for _, s := range c.Sites[i].Stations {
			if service, known := c.Weather.Forecaster(s.Service, client); known && !slices.Contains(c.Weather.Sources, s.Service) &&
				!slices.ContainsFunc(chain.Others, func(f source.Forecaster) bool { return f.Name() == s.Service }) {
				chain.Others = append(chain.Others, service)
			}
		}
	}
	return chain, source.NewOpenMeteo(client, c.Weather.OpenMeteo), nil
}
