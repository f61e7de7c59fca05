package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"thawline/forecast/verify"
)

func backtestCommand(g *globals) *cobra.Command {
	cmd := &cobra.Command{Use: "backtest", Short: "Skill on past data"}
	cmd.AddCommand(backtestThawCommand(g))
	cmd.RunE = func(c *cobra.Command, _ []string) error {
		return &wrongUse{"which backtest? see " + c.CommandPath() + " --help"}
	}
	return cmd
}

func backtestThawCommand(g *globals) *cobra.Command {
	var train, test string
	var byStation bool
	cmd := &cobra.Command{
		Use:   "thaw",
		Short: "How well a night of frost and a day of thaw are foretold from forecasts of lows and highs",
		Long: "Learns the errors of forecast lows and highs from one file of pairs and scores the chance of a\n" +
			"low of 30 °F or less and then a high of 38 °F or more, February to April, on another.",
		Example: "  thawline backtest thaw --train pairs-2020.csv --test pairs-2021.csv\n" +
			"  thawline backtest thaw --train pairs.csv --test pairs.csv --by-station",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if train == "" || test == "" {
				return &wrongUse{"give a file to learn from with --train and one to score with --test"}
			}
			learn, learnFrom, err := readPairs(train)
			if err != nil {
				return err
			}
			score, scoreOn, err := readPairs(test)
			if err != nil {
				return err
			}
			result, err := verify.BacktestThaw(learn, score, byStation)
			if err != nil {
				return err
			}
			result.InSample = bytes.Equal(learnFrom, scoreOn) && !byStation
			if g.json {
				return writeJSON(cmd.OutOrStdout(), result)
			}
			return printThaw(cmd.OutOrStdout(), &result)
		},
	}
	cmd.Flags().StringVar(&train, "train", "", "pairs `FILE` to learn from")
	cmd.Flags().StringVar(&test, "test", "", "pairs `FILE` to score")
	cmd.Flags().BoolVar(&byStation, "by-station", false, "foretell each station by what the others teach")
	cmd.Args = noArguments
	return cmd
}

func readPairs(path string) ([]verify.Pair, []byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, fmt.Errorf("pairs file: %w", err)
	}
	pairs, err := verify.ReadPairs(bytes.NewReader(data), path)
	return pairs, data, err
}

func printThaw(out io.Writer, r *verify.ThawResult) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Frost by night and thaw by day, %d nights, %.0f %% of them with both\n", r.N, 100*r.BaseRate)
	if r.InSample {
		b.WriteString("IN SAMPLE: the model had seen these very nights; the figures flatter it\n")
	}
	fmt.Fprintf(&b, "Brier skill over the weekly climatology: %.3f; of the bare thresholds: %.3f; ROC area %.3f\n\n", r.BrierSkill, r.RuleBrierSkill, r.ROCArea)
	b.WriteString("When it said   it happened      (times)\n")
	for _, bin := range r.Reliability {
		full := int(bin.Frequency*20 + 0.5)
		fmt.Fprintf(&b, "%8.0f %%   %8.0f %% ±%3.0f   %5d  %s\n", 100*bin.MeanProbability, 100*bin.Frequency, 100*bin.StandardError, bin.Count, strings.Repeat("█", full))
	}
	_, err := io.WriteString(out, b.String())
	if err != nil {
		return fmt.Errorf("print the backtest: %w", err)
	}
	return nil
}
