package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/forecast"
	"thawline/forecast/trunk"
	"thawline/forecast/verify"
	"thawline/forecast/verify/gain"
	"thawline/forecast/volume"
)

// autumn is the day, from the first of January, from which weather bears on a spring.
const autumn = -60

func backtestFitCommand(g *cli.Globals) *cobra.Command {
	var files string
	var leave []string
	warmer := 0.0
	cmd := &cobra.Command{
		Use:   "fit",
		Short: "How well a flow fitted on other seasons predicts a season's visits",
		Long: "Fits the few constants of the flow on the seasons of a table, all but the one left out, and predicts that " +
			"one's visits, each from the weather and the visits before it. --files is a table with a row a season: name, " +
			"weather, records, latitude, longitude, zone, and where known elevation_m, warmer_k, taps and container_l. " +
			"Files are named as seen from the table. Without --leave each row is left out in turn.",
		Example: "  thawline backtest fit --files seasons.csv --leave \"hill 2014\"\n" +
			"  thawline backtest fit --files seasons.csv --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if files == "" {
				return cli.WrongUse("--files: name a table of seasons")
			}
			seasons, err := readSeasons(files, gain.ReadRecorded, autumn)
			if err != nil {
				return err
			}
			var rows []verify.FitRow
			for i := range seasons {
				s := &seasons[i]
				rows = append(rows, verify.FitRow{Name: s.Name, Weather: &s.Weather, Visits: s.Visits, Options: verify.SapOptions{
					Place: s.Place, Zone: s.Zone, Method: volume.Pail, Canopy: trunk.Closed, TreeDiameterM: forecast.UsualDiameterM,
					Taps: s.Taps, ContainerL: s.ContainerL, WarmerK: s.WarmerK + warmer, Now: g.Clock(),
				}})
			}
			progress, end := cli.Progress(cmd, "seasons")
			result, err := verify.Fit(cmd.Context(), rows, leave, progress)
			end()
			if err != nil {
				return fmt.Errorf("%s: %w", files, err)
			}
			switch {
			case g.JSON && len(leave) == 1:
				return cli.WriteJSON(cmd.OutOrStdout(), result.LeftOut[0])
			case g.JSON:
				return cli.WriteJSON(cmd.OutOrStdout(), result)
			}
			return cli.Print(cmd.OutOrStdout(), fitReport(&result))
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&files, "files", "", "`TABLE` of seasons")
	fl.StringArrayVar(&leave, "leave", nil, "`NAME` of the row to leave out and predict; may be repeated (default: each in turn)")
	fl.Float64Var(&warmer, "warmer", 0, "move all weather by so many `KELVIN`, besides what the table says")
	cmd.Args = cli.NoArguments
	return cmd
}

func fitReport(r *verify.FitResult) string {
	var b strings.Builder
	b.WriteString("Each season foretold by a flow fitted on the others\n\n")
	b.WriteString("Left out              visits   CRPS skill   habit   rank of flow   in range   asleep   waking   emptying   warmer by\n")
	for i := range r.LeftOut {
		s := &r.LeftOut[i]
		fmt.Fprintf(&b, "%s %6d %12.2f %7.2f %14.2f %8.0f %% %8.2f %5.0f °Ch %8.1f h %6.1f ± %.1f K\n", cli.Pad(s.LeftOut, 21), s.N,
			s.CRPSSkill, s.HabitSkill, s.FlowSpearman,
			100*s.Coverage80, s.Flow.AsleepShare, s.Flow.WakingHeat, s.Flow.EmptyHours, s.Offset.MeanK, s.Offset.SDK)
	}
	fmt.Fprintf(&b, "%s %6d %12.2f %7.2f %14.2f %8.0f %%\n", cli.Pad("Mean", 21), r.N, r.CRPSSkill, r.HabitSkill, r.FlowSpearman,
		100*r.Coverage80)
	b.WriteString(verdictsReport(r.Verdicts))
	b.WriteString("\nIn range by month:")
	for _, m := range r.Months {
		fmt.Fprintf(&b, " %s %.0f %% of %d;", m.Month, 100*m.Coverage80, m.N)
	}
	b.WriteString("\n\nSkill is over the volumes of the other visits of the season; habit is that of a forecast\nthat knows only how this keeper gathers. In range: four in five should be.\n")
	for i := range r.LeftOut {
		for _, n := range r.LeftOut[i].Notes {
			fmt.Fprintf(&b, "%s, not scored: %s\n", r.LeftOut[i].LeftOut, n)
		}
	}
	return b.String()
}
