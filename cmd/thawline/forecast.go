package main

import (
	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
)

func forecastCommand(g *cli.Globals) *cobra.Command {
	f := &cli.OutlookFlags{}
	cmd := &cobra.Command{
		Use:   "forecast",
		Short: "Prints the outlook: will it run, how much, what to do",
		Example: "  thawline forecast --config thawline.yaml --site hill\n" +
			"  thawline forecast --at 44.21,-72.84 --taps 120 --container 4gal --units us\n" +
			"  thawline forecast --at 44.21,-72.84 --taps 120 --container 15L --weather hourly.csv --now 2026-03-20T22:00:00Z",
		RunE: func(cmd *cobra.Command, _ []string) error { return runForecast(cmd, g, f) },
	}
	f.Register(cmd)
	cli.ChartFlag(cmd, &f.Chart)
	return cmd
}

func runForecast(cmd *cobra.Command, g *cli.Globals, f *cli.OutlookFlags) error {
	settings, outlook, err := f.Make(cmd, g, nil)
	if err != nil {
		return err
	}
	if f.Chart != "" {
		if _, err := cli.DrawOutlook(settings, outlook, f.Chart); err != nil {
			return err
		}
	}
	return cli.ShowOutlook(cmd.OutOrStdout(), g.JSON, settings, outlook)
}
