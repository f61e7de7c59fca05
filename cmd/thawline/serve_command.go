package main

import (
	"context"
	"errors"
	"log/slog"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
)

func serveCommand(g *globals) *cobra.Command {
	return &cobra.Command{
		Use:   "serve",
		Short: "Watches all season: asks for weather, decides, and sends the evening text",
		Args:  noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			g.logTo(cmd.ErrOrStderr(), slog.LevelInfo)
			g.ownWords = true
			return serve(cmd.Context(), g)
		},
	}
}

func serve(ctx context.Context, g *globals) error {
	if noSettingsYet(g) {
		if written, err := firstRun(ctx, g); err != nil || !written {
			return err
		}
	}
	settings, err := g.settings()
	if err != nil {
		return err
	}
	if len(settings.Sites) == 0 {
		return wrongUse("no site: name a settings file with --config")
	}
	a, err := app.Open(ctx, g.env(), settings, g.settings)
	if err != nil {
		return err
	}
	return errors.Join(a.Run(ctx, nil), a.Close())
}
