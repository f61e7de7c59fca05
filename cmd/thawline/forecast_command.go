package main

import "github.com/spf13/cobra"

func forecastCommand(g *globals) *cobra.Command {
	f := &forecastFlags{}
	cmd := &cobra.Command{
		Use:   "forecast",
		Short: "Makes and prints the outlook now",
		Example: "  thawline forecast --config thawline.yaml --site hill\n" +
			"  thawline forecast --at 44.21,-72.84 --taps 120 --container 4gal --units us\n" +
			"  thawline forecast --at 44.21,-72.84 --taps 120 --container 15L --weather hourly.csv --now 2026-03-20T22:00:00Z",
		RunE: func(cmd *cobra.Command, _ []string) error { return runForecast(cmd, g, f) },
	}
	f.flags(cmd)
	chartFlag(cmd, &f.chart)
	return cmd
}

func runForecast(cmd *cobra.Command, g *globals, f *forecastFlags) error {
	settings, outlook, err := f.outlook(cmd, g, nil)
	if err != nil {
		return err
	}
	if f.chart != "" {
		if _, err := drawOutlook(settings, outlook, f.chart); err != nil {
			return err
		}
	}
	return show(cmd.OutOrStdout(), g.json, settings, outlook)
}
