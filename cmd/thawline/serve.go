package main

import (
	"context"
	"errors"
	"log/slog"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/setup"
)

func serveCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use:   "serve",
		Short: "Runs all season: fetches weather, sends the evening text, shows the pages",
		Args:  cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			g.LogTo(cmd.ErrOrStderr(), slog.LevelInfo)
			g.IgnoreLocale = true
			return serve(cmd.Context(), g)
		},
	}
}

func serve(ctx context.Context, g *cli.Globals) error {
	if setup.NoSettingsYet(g) {
		if written, err := setup.ServeQuestions(ctx, g); err != nil || !written {
			return err
		}
	}
	settings, err := g.Settings()
	if err != nil {
		return err
	}
	if len(settings.Sites) == 0 {
		return cli.WrongUse("no site: name a settings file with --config")
	}
	a, err := app.Open(ctx, g.Env(), settings, g.Settings)
	if err != nil {
		return err
	}
	return errors.Join(a.Run(ctx, nil), a.Close())
}
