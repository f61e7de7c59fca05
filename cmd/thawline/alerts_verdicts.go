package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/api"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast/archive"
)

func verdictsCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{
		Use: "verdicts", Short: "Counts how often this season's warnings were right, by what people answered",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cli.WithArchive(cmd, g, func(settings *config.Config, a *archive.Archive) error {
				l := ledger.New(a.DB())
				thresholds := func(ctx context.Context, site string, now time.Time) (base, tuned alerts.Thresholds, err error) {
					list, err := l.Verdicts(ctx, site, alerts.TaughtSince(now))
					return settings.Alerts, settings.Alerts.Tuned(list, now), err
				}
				var all []*api.Verdicts
				for i := range settings.Sites {
					v, err := api.VerdictsOf(cmd.Context(), l, a, &settings.Sites[i], thresholds, g.Clock())
					if err != nil {
						return err
					}
					all = append(all, v)
				}
				if g.JSON {
					return cli.WriteJSON(cmd.OutOrStdout(), all)
				}
				var b strings.Builder
				for i, v := range all {
					b.WriteString(settings.Sites[i].Name + "\n")
					for _, k := range v.Kinds {
						fmt.Fprintf(&b, "  %s %d sent, asked %d times, answered %d: %d came true, %d false alarms",
							cli.Pad(string(k.Kind), 9), k.Warned, k.Asked, k.Answered, k.Hits, k.False)
						if k.Missed >= 0 {
							fmt.Fprintf(&b, "; %d times full without a warning", k.Missed)
						}
						b.WriteString("\n")
					}
					fmt.Fprintf(&b, "  warned of overflow from %s on, told of a run from %s on\n", saidBound(v.OverflowFrom),
						saidBound(v.RunFrom))
				}
				return cli.Print(cmd.OutOrStdout(), b.String())
			})
		},
	}
	cmd.Args = cli.NoArguments
	return cmd
}

func saidBound(b api.Bound) string {
	said := fmt.Sprintf("%.0f %%", 100*b.Chance)
	switch {
	case b.Chosen:
		said += " (as the settings say)"
	case b.Chance != b.Settings:
		said += fmt.Sprintf(" (%.0f %% before the answers)", 100*b.Settings)
	}
	return said
}
