package app

import (
	"context"
	"errors"
	"path/filepath"
	"syscall"

	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/weather/source"
)

// ArchiveFile is the file below data_dir in which records and weather are kept.
const ArchiveFile = "thawline.db"

// OpenArchive opens what is kept, for this program's use; whoever opens it closes it.
func OpenArchive(ctx context.Context, c *config.Config) (*archive.Archive, error) {
	KeepPrivate()
	a, err := archive.OpenInUse(ctx, ArchiveAt(c))
	if err == nil {
		shareWeather(a, c.Sites)
	}
	return a, err
}

// shareWeather lets the weather of many sites be kept by cell, once for all neighbours. A
// few keep each their own; either is found whichever way it was kept.
func shareWeather(a *archive.Archive, sites []forecast.Site) {
	cells := make(map[string]string, len(sites))
	for i := range sites {
		cells[PlaceKey(&sites[i])] = source.CellOf(sites[i].Place)
	}
	a.ShareWeather(cells, len(sites) > daemon.Many)
}

// ArchiveAt is the database of the settings, else the file in data_dir.
func ArchiveAt(c *config.Config) string {
	if c.Database.Given() {
		return c.Database.Reveal()
	}
	return filepath.Join(c.DataDir, ArchiveFile)
}

// BackupFolder is the folder below data_dir that nightly copies lie in.
const BackupFolder = "backups"

// openOrRescue is OpenArchive for a daemon: it begins with the newest whole copy where the
// file is damaged, since nobody may be there to put one back before the evening.
func openOrRescue(ctx context.Context, env Env, c *config.Config) (*archive.Archive, *archive.Rescue, error) {
	a, err := OpenArchive(ctx, c)
	if !archive.Damaged(err) || c.Database.Given() {
		return a, nil, err
	}
	env.Log.Error("the records are damaged", "error", err)
	r, failed := archive.PutBackBackup(ctx, ArchiveAt(c), filepath.Join(c.DataDir, BackupFolder))
	if failed != nil {
		return nil, nil, errors.Join(err, failed)
	}
	env.Log.Error("the newest whole copy was put in place of the damaged records", "copy", r.Backup, "made", r.MadeAt, "damaged",
		r.Aside, "as old as the copy", r.Missing)
	a, err = OpenArchive(ctx, c)
	return a, r, err
}

// KeepPrivate keeps what this program writes from other accounts of the machine.
func KeepPrivate() { syscall.Umask(0o077) }
