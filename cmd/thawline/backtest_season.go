package main

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/season"
	"thawline/forecast/verify"
)

func backtestSeasonCommand(g *cli.Globals) *cobra.Command {
	var weatherFile, endsFile, ahead string
	var knownTo []string
	o := verify.SeasonOptions{ElevationM: math.NaN()}
	cmd := &cobra.Command{
		Use:   "season",
		Short: "How well it predicts the end of good sap and the last run",
		Long: "Predicts the end of good sap of each year of a place from its other years, asked on dates of spring with " +
			"nothing known that comes later, and the last day that can run by its weather, of all years of the weather. " +
			"Ends: place, date, kind; where the kind says pulled, down or censored, the sap may still have been good. " +
			"Weather: date, tmin_c, tmax_c.",
		Example: `  thawline backtest season --weather daily.csv --ends ends.csv --known-to 03-15 --known-to 03-25`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if weatherFile == "" || endsFile == "" {
				return cli.WrongUse("give --weather FILE and --ends FILE")
			}
			for _, day := range knownTo {
				at, err := time.Parse("01-02", day)
				if err != nil {
					return cli.WrongUse(fmt.Sprintf("--known-to %s: write month and day, such as 03-15", day))
				}
				o.KnownTo = append(o.KnownTo, at)
			}
			var err error
			if o.AheadDays, err = strconv.Atoi(strings.TrimSuffix(ahead, "d")); err != nil || o.AheadDays < 0 || o.AheadDays > 30 {
				return cli.WrongUse(fmt.Sprintf("--ahead %s: write days from 0d to 30d", ahead))
			}
			days, err := cli.ReadDaily(weatherFile)
			if err != nil {
				return err
			}
			days.FillGaps()
			ends, err := readEnds(endsFile)
			if err != nil {
				return err
			}
			var end func()
			o.Progress, end = cli.Progress(cmd, "springs")
			result, err := verify.BacktestSeason(cmd.Context(), days, ends, o)
			end()
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), result)
			}
			return cli.Print(cmd.OutOrStdout(), seasonReport(&result))
		},
	}
	f := cmd.Flags()
	f.StringVar(&weatherFile, "weather", "", "`FILE` of daily lows and highs")
	f.StringVar(&endsFile, "ends", "", "`FILE` of ends of seasons")
	f.StringVar(&o.Place, "place", "", "`NAME` of the place, or part of it (default: the one with most seasons)")
	f.StringArrayVar(&knownTo, "known-to", []string{"03-15", "03-25"}, "`MONTH-DAY` on which to predict; may be repeated")
	f.StringVar(&ahead, "ahead", "0d", "assume a perfect forecast for so many `DAYS`")
	f.Float64Var(&o.LatitudeDeg, "latitude", 44, "`DEGREES` north of the place")
	cmd.Args = cli.NoArguments
	return cmd
}

func readEnds(path string) ([]season.Ended, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("ends file: %w", err)
	}
	defer file.Close()
	return season.ReadEnds(file, path)
}

func seasonReport(r *verify.SeasonResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "The end of good sap, %s: %d predictions\n", r.Place, r.N)
	fmt.Fprintf(&b, "Error (RMSE) %.1f days, %+.1f too late, CRPS %.2f days; %.0f %% within the range that four in five should be\n\n",
		r.RMSEDays, r.BiasDays, r.CRPSDays, 100*r.Coverage80)
	b.WriteString("Asked   CRPS   mean date and heat sum   mean date   of the first (90 % between)   of the second (90 % between)\n")
	for _, a := range r.Asked {
		fmt.Fprintf(&b, "%s   %.2f   %22.2f   %9.2f   %4.2f (%.2f to %.2f)           %4.2f (%.2f to %.2f)\n", a.KnownTo, a.CRPSDays,
			a.BaselineDays, a.MeanDateDays, a.OfBaseline, a.OfBaseline90.Low, a.OfBaseline90.High, a.OfMeanDate, a.OfMeanDate90.Low,
			a.OfMeanDate90.High)
	}
	b.WriteString("\nAsked   ended          predicted    (range)\n")
	for _, y := range r.Years {
		at := " "
		if y.Censored {
			at = "+" // not before
		}
		fmt.Fprintf(&b, "%s   %s%s   %s   (%s to %s)\n", y.KnownTo, y.End, at, y.P50, y.P10[5:], y.P90[5:])
	}
	b.WriteString("\nCalled over, days after the end:")
	for _, s := range r.OverSaid {
		fmt.Fprintf(&b, " %d in %d;", s.Days, s.Year)
	}
	l, n := &r.LastRun, &r.NoMoreRuns
	fmt.Fprintf(&b, "\n\nThe last run by its weather, %d predictions: %.0f %% in range, %.0f days wide, at most %.0f, CRPS %.1f days, %d begin in the past\n", l.N, 100*l.Coverage80, l.Width80, l.Widest80, l.CRPSDays, l.InThePast)
	fmt.Fprintf(&b, "No more runs, five days ahead known, %d springs: %d runs within 5 days, a later one in %.0f %%;\nsaid within 14 days of the last in %.0f %%, 20 in %.0f %%; taken back in %.0f %%\n", n.Springs, n.RunSoon, 100*n.RunLater, 100*n.Within14, 100*n.Within20, 100*n.TakenBack)
	for _, note := range r.Notes {
		b.WriteString(note + "\n")
	}
	return b.String()
}
