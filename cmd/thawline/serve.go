package main

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/setup"
)

func serveCommand(g *cli.Globals) *cobra.Command {
	var work []string
	c := &cobra.Command{
		Use:   "serve",
		Short: "Runs all season: fetches weather, sends the evening text, shows the pages",
		Args:  cli.NoArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			g.LogTo(cmd.ErrOrStderr(), slog.LevelInfo)
			g.IgnoreLocale = true
			for _, kind := range work {
				if !slices.Contains(daemon.Kinds(), kind) {
					return cli.WrongUse("--work " + kind + ": not a kind of work; write one or more of " +
						strings.Join(daemon.Kinds(), ","))
				}
			}
			return serve(cmd.Context(), g, work)
		},
	}
	c.Flags().StringSliceVar(&work, "work", nil,
		"do only these `KINDS` of work, of "+strings.Join(daemon.Kinds(), ",")+": others are left to other daemons on the same database")
	return c
}

func serve(ctx context.Context, g *cli.Globals, work []string) error {
	app.RoomToStart()
	if setup.NoSettingsYet(g) {
		if written, err := setup.ServeQuestions(ctx, g); err != nil || !written {
			return err
		}
	}
	settings, err := g.Settings()
	if err != nil {
		return err
	}
	if len(settings.Sites) == 0 && !settings.MembersKey.Given() {
		return cli.WrongUse("no site: name a settings file with --config")
	}
	a, err := app.Open(ctx, g.Env(), settings, g.Settings)
	if err != nil {
		return err
	}
	if len(work) > 0 {
		a.Daemon.Work = work
	}
	return errors.Join(a.Run(ctx, nil), a.Close())
}
