package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast/verify"
)

func backtestMembersCommand(g *cli.Globals) *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "members",
		Short: "How well the members of a service's forecast predict frost, as they come and corrected",
		Long: "Reads forecast temperatures in °C (columns valid_utc, member… and observed…), fits on the first half by time " +
			"how far what comes strays from the members' mean, and scores the chance of less than 0 °C on the second half: " +
			"members as they come, and members given that error.",
		Example: "  thawline backtest members --file members.csv --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if path == "" {
				return cli.WrongUse("give a file of members with --file")
			}
			file, err := os.Open(path)
			if err != nil {
				return fmt.Errorf("members file: %w", err)
			}
			defer file.Close()
			cases, err := verify.ReadMembers(file, path)
			if err != nil {
				return err
			}
			r, err := verify.BacktestMembers(cases)
			if err != nil {
				return err
			}
			if g.JSON {
				return cli.WriteJSON(cmd.OutOrStdout(), r)
			}
			return cli.Print(cmd.OutOrStdout(), membersReport(&r))
		},
	}
	cmd.Flags().StringVar(&path, "file", "", "members `FILE`: learns from the first half, scores the second")
	cmd.Args = cli.NoArguments
	return cmd
}

func membersReport(r *verify.MembersResult) string {
	out := fmt.Sprintf("%d members, %d rows of the second half; by the first half what came was %+.2f K from their mean, ±%.2f K\n"+
		"                     Brier skill of frost   came between the 10 %% and the 90 %%\n", r.Members, r.N, r.BiasK, r.SDK)
	for _, row := range []struct {
		name string
		of   verify.MembersScore
	}{{"as they come", r.Raw}, {"dressed", r.Dressed}, {"weighed and dressed", r.Weighed}} {
		out += fmt.Sprintf("%s %20.3f   %31.0f %%\n", cli.Pad(row.name, 20), row.of.BrierSkill, 100*row.of.Coverage80)
	}
	return out
}
