package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/verify"
)

func backtestThawCommand(g *cli.Globals) *cobra.Command {
	var train, test, charts string
	var o verify.ThawOptions
	cmd := &cobra.Command{
		Use:   "thaw",
		Short: "How well it predicts a freezing night and a thaw from forecast lows and highs",
		Long: "Learns the errors of forecast lows and highs from one file of pairs and scores the chance of a low of 30 °F or " +
			"less and then a high of 38 °F or more, February to April, on another.",
		Example: "  thawline backtest thaw --train pairs-2020.csv --test pairs-2021.csv\n" +
			"  thawline backtest thaw --train pairs.csv --test pairs.csv --by-station --chart pictures",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if train == "" || test == "" {
				return cli.WrongUse("give a file to learn from with --train and one to score with --test")
			}
			learn, err := readPairs(train)
			if err != nil {
				return err
			}
			score, err := readPairs(test)
			if err != nil {
				return err
			}
			result, err := verify.BacktestThaw(learn, score, o)
			if err != nil {
				return err
			}
			if charts != "" {
				picture := chart.Reliability(result.Reliability,
					chart.EnglishReliability("A freezing night, then a thaw", "low of 30 °F or less, next high of 38 °F or more"),
					chart.Wide).SVG()
				if err := cli.WriteChart(charts, "thaw-reliability.svg", picture); err != nil {
					return err
				}
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), result)
			}
			return cli.Print(cmd.OutOrStdout(), thawReport(&result))
		},
	}
	cmd.Flags().StringVar(&train, "train", "", "pairs `FILE` to learn from")
	cmd.Flags().StringVar(&test, "test", "", "pairs `FILE` to score")
	cmd.Flags().BoolVar(&o.ByStation, "by-station", false, "predict each station from what the others teach")
	cmd.Flags().BoolVar(&o.AsSent, "as-sent", false, "count the members that the evening text is made from")
	cmd.Flags().Float64Var(&o.Bush.OffK, "off", 0, "take each station to be so many `KELVIN` warmer than its grid")
	cmd.Flags().BoolVar(&o.Bush.Thermometer, "own-thermometer", false,
		"learn from each station's own lows and highs of the days before; nights count from the tenth day on")
	cli.ChartFlag(cmd, &charts)
	cmd.Args = cli.NoArguments
	return cmd
}

func readPairs(path string) ([]verify.Pair, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("pairs file: %w", err)
	}
	defer file.Close()
	return verify.ReadPairs(file, path)
}

// verdictsReport holds the verdicts of the evening against what came.
func verdictsReport(list []verify.VerdictScore) string {
	var b strings.Builder
	b.WriteString("\nVerdict    stands for       said   it came        (times)\n")
	for _, s := range list {
		from, to := forecast.VerdictBounds(s.Verdict)
		fmt.Fprintf(&b, "%s %3.0f to %3.0f %% %8.0f %% %6.0f %% ±%3.0f   %5d", cli.Pad(string(s.Verdict), 10), 100*from, 100*to,
			100*s.Said, 100*s.Came, 100*s.Error, s.N)
		if s.Coverage80 != nil {
			fmt.Fprintf(&b, "   in range %3.0f %%", 100**s.Coverage80)
		}
		if s.Wide != nil {
			fmt.Fprintf(&b, "   nine in ten %.1f times one in ten", *s.Wide)
		}
		b.WriteString("\n")
	}
	return b.String()
}

func thawReport(r *verify.ThawResult) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Freeze by night and thaw by day, %d nights, %.0f %% of them with both\n", r.N, 100*r.BaseRate)
	if r.InSample {
		fmt.Fprintf(&b, "IN SAMPLE: the model had seen %d of these nights; the figures flatter it\n", r.Overlap)
	}
	fmt.Fprintf(&b, "Brier skill over the weekly climatology: %.3f (nine in ten resamples of weeks: %.2f to %.2f); of the bare thresholds: %.3f\n",
		r.BrierSkill, r.SkillInterval90.Low, r.SkillInterval90.High, r.RuleBrierSkill)
	if r.Without != nil {
		fmt.Fprintf(&b, "The same nights without the bush's own thermometer: %.3f\n", *r.Without)
	}
	fmt.Fprintf(&b, "ROC area %.3f; Brier score in parts: reliability %.4f, resolution %.4f, uncertainty %.4f\n\n", r.ROCArea,
		r.Parts.Reliability, r.Parts.Resolution, r.Parts.Uncertainty)
	if len(r.Told) > 0 {
		fmt.Fprintf(&b, "Looked at         skill   bare thresholds   climatology's Brier score   (the same %d nights)\n", r.Told[0].N)
		for _, l := range r.Told {
			at := "this evening"
			if l.HoursEarlier > 0 {
				at = fmt.Sprintf("%d h earlier", l.HoursEarlier)
			}
			fmt.Fprintf(&b, "%s %9.3f   %15.3f   %25.3f\n", cli.Pad(at, 13), l.BrierSkill, l.RuleBrierSkill, l.ClimatologyBrier)
		}
		b.WriteString("\n")
	}
	b.WriteString("When it said   it happened      (times)\n")
	for _, bin := range r.Reliability {
		fmt.Fprintf(&b, "%8.0f %%   %8.0f %% ±%3.0f   %5d  %s\n", 100*bin.MeanProbability, 100*bin.Frequency, 100*bin.StandardError,
			bin.Count, cli.Bar(bin.Frequency))
	}
	b.WriteString(verdictsReport(r.Verdicts))
	b.WriteString("\nForecast     hours ahead   observed less forecast    spread   (nights)\n")
	for _, l := range r.Leads {
		fmt.Fprintf(&b, "%s %11d   %16.1f °F   %9.1f °F   %5d\n", cli.Pad(l.Of, 11), l.LeadHours, l.BiasF, l.SDF, l.N)
	}
	fmt.Fprintf(&b, "After correction: low ±%.1f °F, next high ±%.1f °F, correlation %.2f\n", r.Fitted.LowSDF, r.Fitted.HighSDF,
		r.Fitted.Correlation)
	return b.String()
}
