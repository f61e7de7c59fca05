package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/report"
	"thawline/config"
	"thawline/forecast/archive"
)

func reportCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var year int
	var dir string
	cmd := &cobra.Command{
		Use: "report", Short: "Writes a season into one file to print or send, and its figures into a table (CSV)",
		Long: "Writes SITE-YEAR.html, one page with its pictures inside: the season in a few sentences, the rounds, the boils by lot, " +
			"the track record and how it was made; and SITE-YEAR.csv with days, hours and lots. What a lot was filtered through and " +
			"filled into is read from the note of its boil, such as “filter: wool; jars: 24 x 500 mL”.",
		Example: "  thawline report --season 2026\n  thawline report --season 2026 --lang fr --to /media/usb",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(settings)
				if err != nil {
					return err
				}
				end := g.Busy(cmd, "looking back")
				season, err := report.Gather(cmd.Context(), a, app.Taught(a), site, app.PlaceKey(site), seasonAsked(year, g, site),
					g.Clock())
				end()
				if err != nil {
					return err
				}
				season.Version, season.Services = g.Version, strings.Join(settings.Weather.Sources, ", ")
				return writeReport(cmd, g, settings, season, dir)
			})
		},
	}
	bush.Register(cmd)
	cmd.Flags().IntVar(&year, "season", 0, "`YEAR` of the spring (default: of this winter)")
	cmd.Flags().StringVar(&dir, "to", ".", "`DIR` to write into")
	cmd.Args = cli.NoArguments
	return cmd
}

func writeReport(cmd *cobra.Command, g *cli.Globals, settings *config.Config, s *report.Season, dir string) error {
	words, err := app.Words(settings)
	if err != nil {
		return err
	}
	page, err := report.HTML(s, words, settings.Units)
	if err != nil {
		return err
	}
	table, err := report.CSV(s)
	if err != nil {
		return err
	}
	name := filepath.Join(dir, fmt.Sprintf("%s-%d", s.Site.ID, s.Year))
	for ending, data := range map[string][]byte{".html": page, ".csv": table} {
		if err := os.WriteFile(name+ending, data, 0o600); err != nil {
			return fmt.Errorf("write the report: %w", err)
		}
	}
	return g.Tell(cmd, map[string]any{"season": s.Year, "page": name + ".html", "table": name + ".csv"},
		words.Say("letter_written", map[string]any{"Page": name + ".html", "Table": name + ".csv"})+"\n")
}
