package main

import (
	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/setup"
)

func initCommand(g *cli.Globals) *cobra.Command {
	var out string
	var resume bool
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Asks a few questions and writes the settings for your bush",
		Long: "Asks where the trees are, how many taps, how you collect sap and how to reach you, looks up the time zone and " +
			"the height, tries the weather services, and writes a settings file with comments. It never overwrites a file. " +
			"If it ends too soon your answers are kept: --resume goes on from there.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return setup.Init(cmd.Context(), g, cmd.InOrStdin(), cmd.OutOrStdout(), out, resume)
		},
	}
	cmd.Flags().StringVar(&out, "out", "thawline.yaml", "the `FILE` to write")
	cmd.Flags().BoolVar(&resume, "resume", false, "go on where an earlier try ended")
	cmd.Args = cli.NoArguments
	return cmd
}
