// Package demo is the demonstration: an invented bush and its season, offline.
package demo

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// Settings reads the demonstration's settings as any others: from a file.
func Settings() (*config.Config, error) {
	dir, err := os.MkdirTemp("", "thawline-demo-")
	if err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	data, err := testdata.Files.ReadFile("thawline.yaml")
	if err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	path := filepath.Join(dir, "thawline.yaml")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		return nil, fmt.Errorf("demonstration: %w", err)
	}
	c, err := config.Load(path, nil)
	if err == nil {
		c.LanguageGiven = false // a visitor's own goes before that of the bush
	}
	return c, err
}

// evening is the demonstration's evening, or the moment of a replay.
func evening(env app.Env) time.Time {
	if env.Frozen {
		return env.Clock()
	}
	return testdata.Now()
}

// Outlook is the outlook of that evening.
func Outlook(ctx context.Context, env app.Env, settings *config.Config) (forecast.Outlook, error) {
	site := settings.Sites[0]
	app.AddCrew(&site, settings.People)
	visits, err := Visits(&site)
	if err != nil {
		return forecast.Outlook{}, err
	}
	chain, _, err := app.Services(env, settings, app.Storage{Transport: testdata.Transport()})
	if err != nil {
		return forecast.Outlook{}, err
	}
	now := evening(env)
	got, err := app.Fetch(ctx, chain, &site, now)
	if err != nil {
		return forecast.Outlook{}, err
	}
	winter, err := winter(now)
	if err != nil {
		return forecast.Outlook{}, err
	}
	taught, err := taught(&site, visits, now)
	if err != nil {
		return forecast.Outlook{}, err
	}
	in := got
	in.Site, in.Now, in.Seed, in.EveningAt = site, now, forecast.SeedOf(&site, now), settings.Serve.EveningAt
	in.Visits, in.Taught, in.Before = visits, taught, winter
	return forecast.Make(in)
}

// winter is the weather of the winter so far, as a daemon would have kept
// it.
func winter(now time.Time) (weather.Series, error) {
	data, err := testdata.Files.ReadFile("weather.csv")
	if err != nil {
		return weather.Series{}, fmt.Errorf("demonstration: %w", err)
	}
	s, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
	if err != nil {
		return weather.Series{}, err
	}
	return s.Between(s.Start(), now), nil
}
