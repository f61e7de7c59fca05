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
		Short: "Shows everything on an invented bush, offline",
		Long: "Reads the settings, records and weather of an invented bush on an evening in March, and prints its outlook and " +
			"evening text. It uses no network.",
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
	cmd.Flags().StringVar(&address, "serve", "", "show its pages at `ADDRESS` until stopped")
	cmd.Flags().Lookup("serve").NoOptDefVal = "127.0.0.1:8787"
	cmd.Flags().StringVar(&dir, "chart", dir, "write the picture (SVG) into `DIR`")
	return cmd
}
