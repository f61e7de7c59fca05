package app

import (
	"context"
	"path/filepath"

	"thawline/config"
	"thawline/forecast/archive"
)

// ArchiveFile is the file below data_dir in which records and weather are kept.
const ArchiveFile = "thawline.db"

// OpenArchive opens what is kept, for this program's use; whoever opens it closes it.
func OpenArchive(ctx context.Context, c *config.Config) (*archive.Archive, error) {
	KeepPrivate()
	return archive.OpenInUse(ctx, ArchiveAt(c))
}

// ArchiveAt is the database of the settings, else the file in data_dir.
func ArchiveAt(c *config.Config) string {
	if c.Database.Given() {
		return c.Database.Reveal()
	}
	return filepath.Join(c.DataDir, ArchiveFile)
}
