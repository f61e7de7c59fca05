package main

import (
	"errors"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/setup"
)

func checkCommand(g *cli.Globals) *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Checks settings, weather, records, messages and clock",
		Long:  "Says on one screen what works. With --send, a person gets a test message by each of their channels.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err // all that is wrong with the settings, line by line
			}
			words, err := app.Words(settings)
			if err != nil {
				return err
			}
			c := setup.NewCheck(cmd.Context(), g.Env(), settings, words, to)
			if err := g.Tell(cmd, c.Findings, c.Text(cli.Coloured(cmd.OutOrStdout()))); err != nil {
				return err
			}
			if c.Bad > 0 {
				return errors.New(words.PluralWith("check_failed", c.Bad, map[string]any{"Of": len(c.Findings)}))
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&to, "send", "", "send a test message to the person with this `ID`")
	cmd.Args = cli.NoArguments
	return cmd
}
