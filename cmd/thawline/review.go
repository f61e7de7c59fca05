package main

import (
	"github.com/spf13/cobra"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/lookback"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/season"
)

func reviewCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var year int
	cmd := &cobra.Command{
		Use: "review", Short: "Says why the evenings of a season were off, and what one more tank or helper would have changed",
		Long: "Takes each round that brought something else than the evenings had said, and splits the difference into weather, " +
			"place, trees and the round itself. Then it works out what one more tank, one more helper, and taps a week earlier would have changed.",
		Example: "  thawline review\n  thawline review --season 2025 --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(settings)
				if err != nil {
					return err
				}
				end := g.Busy(cmd, "looking back")
				r, err := lookback.Review(cmd.Context(), a, app.Taught(a), site, app.PlaceKey(site), seasonAsked(year, g, site), g.Clock())
				end()
				if err != nil {
					return err
				}
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), r)
				}
				words, err := app.Words(settings)
				if err != nil {
					return err
				}
				return sections.PrintReview(cmd.OutOrStdout(), &r, site, words, settings.Units)
			})
		},
	}
	bush.Register(cmd)
	cmd.Flags().IntVar(&year, "season", 0, "`YEAR` of the spring (default: of this winter)")
	cmd.Args = cli.NoArguments
	return cmd
}

// seasonAsked is the year of a spring that somebody named, else that of the winter that is.
func seasonAsked(year int, g *cli.Globals, site *forecast.Site) int {
	if year != 0 {
		return year
	}
	return season.WinterStart(g.Clock(), site.Zone).Year() + 1
}
