package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"thawline/forecast/trunk"
	"thawline/forecast/verify"
)

func backtestSensitivityCommand(g *globals) *cobra.Command {
	f := &sapFiles{canopy: string(trunk.Closed), records: "none"}
	cmd := &cobra.Command{
		Use:     "sensitivity",
		Short:   "How much each parameter of the flow changes a season's volume and the rank of its days",
		Example: "  thawline backtest sensitivity --weather hourly.csv --at 42.45,-72.68 --tz America/New_York",
		RunE: func(cmd *cobra.Command, _ []string) error {
			o, err := f.options(g.clock())
			if err != nil {
				return err
			}
			w, err := readWeathers(f.weather, o.Place)
			if err != nil {
				return err
			}
			rows, err := verify.Sensitivities(w, o)
			if err != nil {
				return err
			}
			if g.json {
				return writeJSON(cmd.OutOrStdout(), rows)
			}
			var b strings.Builder
			b.WriteString("Parameter          value  (range)            season's volume       rank of days    source\n")
			for _, r := range rows {
				fmt.Fprintf(&b, "%s %8s  %s %+6.0f %% to %+4.0f %%   %5.2f and %5.2f   %s\n", padded(r.Parameter, 16),
					fmt.Sprintf("%.4g", r.Value), padded(fmt.Sprintf("(%.4g to %.4g %s)", r.Low, r.High, r.Unit), 26), r.VolumePct[0], r.VolumePct[1], r.DayRank[0], r.DayRank[1], r.Source)
			}
			return printAll(cmd.OutOrStdout(), b.String())
		},
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&f.weather, "weather", nil, "weather `FILE` of a season, hourly or daily")
	fl.StringVar(&f.at, "at", "", "`LAT,LON` of the bush, degrees north and east")
	fl.StringVar(&f.zone, "tz", "", "its time `ZONE`; without it, the one that the map gives")
	cmd.Args = noArguments
	return cmd
}
