package main

import (
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast"
)

func recordsWeatherCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	cmd := &cobra.Command{
		Use: "weather [FILE…]", Short: "Fetches the weather of earlier seasons in the notebook, or reads it from files (CSV), so that each visit teaches",
		Example: "  thawline records weather\n  thawline records weather winters-2012-2019.csv",
		RunE: func(cmd *cobra.Command, args []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err
			}
			site, err := bush.Choose(settings)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				return fetchPastWeather(cmd, g, settings, site)
			}
			return readPastWeather(cmd, g, settings, site, args)
		},
	}
	bush.Register(cmd)
	return cmd
}

func fetchPastWeather(cmd *cobra.Command, g *cli.Globals, settings *config.Config, site *forecast.Site) error {
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	return cli.FetchPastWeather(cmd, g, settings, a, site)
}

// readPastWeather keeps hours of files, hourly or daily; what is known already stands where
// they say nothing.
func readPastWeather(cmd *cobra.Command, g *cli.Globals, settings *config.Config, site *forecast.Site, files []string) error {
	hours, err := cli.ReadWeathers(files, site.Place)
	if err != nil {
		return err
	}
	now := g.Clock()
	past := hours.Between(hours.Start(), now.Truncate(time.Hour))
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	defer g.Busy(cmd, "keeping weather")()
	if err := a.PutHours(cmd.Context(), app.PlaceKey(site), &past); err != nil {
		return err
	}
	words, err := app.Words(settings)
	if err != nil {
		return err
	}
	return g.Tell(cmd, map[string]any{"hours": past.Hours(), "from": past.Start(), "to": past.End()},
		words.Say("past_weather_read", map[string]any{"From": past.Start().In(site.Zone).Format(time.DateOnly),
			"To": past.End().In(site.Zone).Format(time.DateOnly)})+"\n")
}
