package main

import (
	"context"
	"path/filepath"

	"thawline/config"
	"thawline/forecast/archive"
)

// archiveName is the file below data_dir in which records and weather are kept.
const archiveName = "thawline.db"

func openArchive(ctx context.Context, c *config.Config) (*archive.Archive, error) {
	return archive.Open(ctx, filepath.Join(c.DataDir, archiveName))
}
