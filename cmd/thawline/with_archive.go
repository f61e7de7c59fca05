package main

import (
	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast/archive"
)

// withArchive opens the archive of the settings for one piece of work.
func withArchive(cmd *cobra.Command, g *globals, do func(*config.Config, *archive.Archive) error) error {
	settings, err := g.settings()
	if err != nil {
		return err
	}
	a, err := app.OpenArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(settings, a)
}
