package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/report"
	"thawline/config"
	"thawline/forecast/archive"
	"thawline/forecast/verify"
)

func backtestEveningsCommand(g *cli.Globals) *cobra.Command {
	var bush cli.SiteFlag
	var year int
	var files []string
	cmd := &cobra.Command{
		Use:   "evenings",
		Short: "How good a season's evenings were, beside any other forecaster's",
		Long: "Scores what the evenings of a season said of the next day by what people saw and carried in. --beside names a file (CSV) " +
			"of another forecaster, who is scored by the same days and rounds: day (2026-03-17), and chance_pct of a run, or p10_l, " +
			"p50_l and p90_l of all taps' sap, or both. Each row is what was said on the evening before. Only days and rounds count of " +
			"which all forecasters spoke.",
		Example: "  thawline backtest evenings --season 2026 --beside neighbour.csv",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				site, err := bush.Choose(settings)
				if err != nil {
					return err
				}
				s, err := report.Gather(cmd.Context(), a, app.Taught(a), site, app.PlaceKey(site), seasonAsked(year, g, site), g.Clock())
				if err != nil {
					return err
				}
				all := []verify.Forecaster{{Name: "thawline", Evenings: s.Evenings}}
				for _, path := range files {
					one, err := readForecaster(path)
					if err != nil {
						return err
					}
					all = append(all, one)
				}
				scores := verify.Compare(all, s.Seen, s.Past.Visits, site)
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), map[string]any{"season": s.Year, "forecasters": jsonScores(scores)})
				}
				return cli.Print(cmd.OutOrStdout(), eveningsReport(scores))
			})
		},
	}
	bush.Register(cmd)
	cmd.Flags().IntVar(&year, "season", 0, "`YEAR` of the spring (default: of this winter)")
	cmd.Flags().StringArrayVar(&files, "beside", nil, "`FILE` of another forecaster (CSV); may be given several times")
	cmd.Args = cli.NoArguments
	return cmd
}

func readForecaster(path string) (verify.Forecaster, error) {
	file, err := os.Open(path)
	if err != nil {
		return verify.Forecaster{}, fmt.Errorf("forecasts: %w", err)
	}
	defer file.Close()
	evenings, err := verify.ReadForecasts(file, path)
	return verify.Forecaster{Name: strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)), Evenings: evenings}, err
}

func figureOr(x float64, form string) string {
	if math.IsNaN(x) {
		return "–"
	}
	return fmt.Sprintf(form, x)
}

func eveningsReport(scores []verify.Compared) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Days of which somebody saw whether sap ran: %d. Rounds: %d.\n\n", scores[0].Days, scores[0].Rounds)
	b.WriteString("Forecaster            right   Brier   skill   within 8 in 10   off by, L   quantile loss, L\n")
	for i := range scores {
		s := &scores[i]
		fmt.Fprintf(&b, "%s %6d %7s %7s %16d %11s %18s\n", cli.Pad(s.Name, 20), s.Right, figureOr(s.Brier, "%.3f"),
			figureOr(s.BrierSkill, "%.2f"), s.Within, figureOr(s.MissL, "%.1f"), figureOr(s.QuantileL, "%.2f"))
	}
	return b.String()
}

// jsonScores are scores with null for what is not known.
func jsonScores(scores []verify.Compared) []map[string]any {
	known := func(x float64) any {
		if math.IsNaN(x) {
			return nil
		}
		return x
	}
	out := []map[string]any{}
	for _, s := range scores {
		out = append(out, map[string]any{"name": s.Name, "days": s.Days, "right": s.Right, "brier": known(s.Brier),
			"brier_skill": known(s.BrierSkill), "rounds": s.Rounds, "within": s.Within, "miss_l": known(s.MissL),
			"quantile_l": known(s.QuantileL)})
	}
	return out
}
