package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/chart"
	"thawline/forecast/season"
	"thawline/forecast/verify"
)

func backtestBudsCommand(g *cli.Globals) *cobra.Command {
	var temperatures, buds, charts string
	o := verify.BudOptions{}
	cmd := &cobra.Command{
		Use:   "buds",
		Short: "How well it predicts the day leaf buds open",
		Long: "Learns from the years up to one, and predicts the later ones. Without --train-until each year is predicted " +
			"from all the others. Temperatures: date, tmin_c, tmax_c; buds: year, species, leaf_bud_break_doy.",
		Example: `  thawline backtest buds --temperatures daily.csv --buds buds.csv --species "sugar maple" --train-until 1993`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if temperatures == "" || buds == "" || o.Species == "" {
				return cli.WrongUse("give --temperatures FILE, --buds FILE and --species NAME")
			}
			d, err := cli.ReadDaily(temperatures)
			if err != nil {
				return err
			}
			seen, err := readBuds(buds)
			if err != nil {
				return err
			}
			var end func()
			o.Progress, end = cli.Progress(cmd, "years")
			result, err := verify.BacktestBuds(cmd.Context(), d, seen, o)
			end()
			if err != nil {
				return err
			}
			if charts != "" {
				picture := chart.BudYears("Leaf buds of "+result.Species, result.Years).SVG()
				if err := cli.WriteChart(charts, "buds-years.svg", picture); err != nil {
					return err
				}
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), result)
			}
			return cli.Print(cmd.OutOrStdout(), budsReport(&result))
		},
	}
	f := cmd.Flags()
	f.StringVar(&temperatures, "temperatures", "", "`FILE` of daily lows and highs")
	f.StringVar(&buds, "buds", "", "`FILE` of bud dates")
	f.StringVar(&o.Species, "species", "", "`NAME` of the species, as the file spells it")
	f.IntVar(&o.TrainUntil, "train-until", 0, "last `YEAR` to learn from")
	f.Float64Var(&o.LatitudeDeg, "latitude", 43, "`DEGREES` north of the trees, for the length of the day")
	cli.ChartFlag(cmd, &charts)
	cmd.Args = cli.NoArguments
	return cmd
}

func readBuds(path string) ([]season.BudYear, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("buds file: %w", err)
	}
	defer file.Close()
	return season.ReadBuds(file, path)
}

func budsReport(r *verify.BudResult) string {
	var b strings.Builder
	how := "after them"
	if r.LeaveOneOut {
		how = "each foretold by the others"
	}
	fmt.Fprintf(&b, "Leaf buds of %s: learnt from %d years, tested on %d, %s\n", r.Species, r.NTrain, r.NTest, how)
	fmt.Fprintf(&b, "Error (RMSE): %.1f days; the mean date errs by %.1f, plain degree days from 15 March by %.1f,\nthe way to count that fits best by %.1f\n", r.RMSEDays, r.ClimatologyRMSE, r.PlainRMSE, r.BestFitRMSE)
	fmt.Fprintf(&b, "%.0f %% of years fell within the range that four in five should\n\n", 100*r.Coverage80)
	b.WriteString("Year   opened   foretold   (range), day of the year\n")
	for _, y := range r.Years {
		fmt.Fprintf(&b, "%d   %6.1f   %8.1f   (%.0f to %.0f)\n", y.Year, y.ObservedDOY, y.PredictedDOY, y.P10, y.P90)
	}
	b.WriteString("\nAsked on   error    four in five within\n")
	for _, a := range r.Asked {
		fmt.Fprintf(&b, "%s   %4.1f days   %4.1f days, which held %.0f %% of the time\n", cli.Pad(a.On, 8), a.RMSEDays, a.Width80, 100*a.Coverage80)
	}
	b.WriteString("\nWays to count, best of each kind on years left out:\n")
	for _, f := range r.Families {
		fmt.Fprintf(&b, "  %s %5.1f days left out, %4.1f fitted, weight %.0f %%: %s\n", cli.Pad(f.Family, 38), f.RMSEDays, f.FitDays, 100*f.Weight, f.BestCount)
	}
	if r.FilledDays > 0 {
		fmt.Fprintf(&b, "%d days of the temperature file had a gap that was filled\n", r.FilledDays)
	}
	for _, n := range r.Notes {
		b.WriteString(n + "\n")
	}
	return b.String()
}
