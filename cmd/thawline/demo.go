package main

import (
	"log/slog"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/demo"
)

func demoCommand(g *cli.Globals) *cobra.Command {
	dir := filepath.Join(os.TempDir(), "thawline-demo")
	address := ""
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Shows the main job on an invented bush, offline",
		Long: "Reads the settings, tap records and weather services' answers of an invented bush on an\n" +
			"evening in March, and prints its outlook and evening text. Nothing is asked of the network.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := demo.Settings()
			if err != nil {
				return err
			}
			if err := g.Override(settings); err != nil {
				return err
			}
			if address != "" {
				g.LogTo(cmd.ErrOrStderr(), slog.LevelInfo)
				return demo.ServePages(cmd.Context(), g.Env(), settings, address)
			}
			outlook, err := demo.Outlook(cmd.Context(), g.Env(), settings)
			if err != nil {
				return err
			}
			picture, err := cli.DrawOutlook(settings, &outlook, dir)
			if err != nil {
				return err
			}
			if err := cli.ShowOutlook(cmd.OutOrStdout(), g.JSON, settings, &outlook); err != nil || g.JSON {
				return err
			}
			return cli.Print(cmd.OutOrStdout(), "\n"+picture+"\n")
		},
	}
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) == 1 && address != "" {
			return cli.WrongUse("an address goes to --serve with a sign between: --serve=" + args[0])
		}
		return cli.NoArguments(cmd, args)
	}
	cmd.Flags().StringVar(&address, "serve", "", "open its pages at `ADDRESS` until stopped")
	cmd.Flags().Lookup("serve").NoOptDefVal = "127.0.0.1:8787"
	cmd.Flags().StringVar(&dir, "chart", dir, "write the picture (SVG) into `DIR`")
	return cmd
}
