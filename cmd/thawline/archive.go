package main

import (
	"context"
	"path/filepath"

	"github.com/spf13/cobra"

	"thawline/config"
	"thawline/forecast/archive"
)

// archiveName is the file below data_dir in which records and weather are kept.
const archiveName = "thawline.db"

func openArchive(ctx context.Context, c *config.Config) (*archive.Archive, error) {
	private()
	return archive.OpenInUse(ctx, archivePlace(c))
}

// archivePlace is the database of the settings, else the file in data_dir.
func archivePlace(c *config.Config) string {
	if c.Database.Given() {
		return c.Database.Reveal()
	}
	return filepath.Join(c.DataDir, archiveName)
}

// withArchive opens the archive of the settings for one piece of work.
func withArchive(cmd *cobra.Command, g *globals, do func(*config.Config, *archive.Archive) error) error {
	settings, err := g.settings()
	if err != nil {
		return err
	}
	a, err := openArchive(cmd.Context(), settings)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(settings, a)
}
