package cli

import (
	"context"
	"errors"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather/source"
)

// FetchPastWeather fetches the weather of past winters from which a site has records and of
// which it is not kept, and tells what came of it; where no service of the settings knows
// the past, it tells how to give it. An error says what is not here yet.
func FetchPastWeather(cmd *cobra.Command, g *Globals, settings *config.Config, a *archive.Archive, site *forecast.Site) error {
	words, err := app.Words(settings)
	if err != nil {
		return err
	}
	past := app.PastWeather{Archive: a}
	missing, err := past.Missing(cmd.Context(), site, g.Clock())
	if err != nil || len(missing) == 0 {
		return err
	}
	seasons := func(months []app.Month) string {
		var years []string
		for _, m := range months {
			if y := strconv.Itoa(m.Spring); !slices.Contains(years, y) {
				years = append(years, y)
			}
		}
		slices.Sort(years)
		return words.Joined(years)
	}
	say := func(key string) string { return words.Say(key, map[string]any{"Seasons": seasons(missing)}) + "\n" }
	if !slices.Contains(settings.Weather.Sources, source.OpenMeteoName) {
		return Print(cmd.ErrOrStderr(), say("past_weather_give"))
	}
	_, service, err := app.Services(g.Env(), settings, app.StorageOf(settings, a))
	if err != nil {
		return err
	}
	past.Ask = service
	step, end := Progress(cmd, "weather")
	err = past.Fetch(cmd.Context(), site, missing, step)
	end()
	switch {
	case errors.Is(err, context.Canceled):
		return err
	case err != nil:
		if missing, err2 := past.Missing(cmd.Context(), site, g.Clock()); err2 == nil {
			return errors.New(words.Say("past_weather_stopped", map[string]any{"Seasons": seasons(missing), "Why": err.Error()}))
		}
		return err
	case g.JSON:
		return nil
	}
	return Print(cmd.OutOrStdout(), say("past_weather_kept"))
}
