package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast/archive"
)

func dbCommand(g *cli.Globals) *cobra.Command {
	cmd := &cobra.Command{Use: "db", Short: "Backs up, restores, checks and moves the data"}
	backup := &cobra.Command{
		Use: "backup FILE", Short: "Backs up everything to a new file, while the daemon goes on",
		Args: cli.OneArgument("a new file to write to"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return cli.WithArchive(cmd, g, func(_ *config.Config, a *archive.Archive) error {
				end := g.Busy(cmd, "backing up")
				err := a.Backup(cmd.Context(), args[0])
				if end(); err != nil {
					return err
				}
				return cli.Print(cmd.OutOrStdout(), g.Words().Phrase("copied and read back: "+args[0])+"\n")
			})
		},
	}
	restore := &cobra.Command{
		Use: "restore FILE", Short: "Restores a backup; the present data is moved aside",
		Args: cli.OneArgument("the backup to restore"),
		RunE: func(cmd *cobra.Command, args []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err
			}
			if settings.Database.Given() {
				return cli.WrongUse("the settings keep records in PostgreSQL: restore them there with its own pg_restore")
			}
			app.KeepPrivate()
			end := g.Busy(cmd, "restoring")
			said, err := restoreBackup(cmd.Context(), args[0], filepath.Join(settings.DataDir, app.ArchiveFile))
			if end(); err != nil {
				return err
			}
			return cli.Print(cmd.OutOrStdout(), g.Words().Phrase(said))
		},
	}
	check := &cobra.Command{
		Use: "check", Short: "Reads all data and says whether anything is damaged",
		RunE: func(cmd *cobra.Command, _ []string) error {
			// Opening reads and checks the whole of it.
			return cli.WithArchive(cmd, g, func(settings *config.Config, _ *archive.Archive) error {
				if settings.Database.Given() { // which looks after its own pages
					return cli.Print(cmd.OutOrStdout(), g.Words().Phrase("the database can be reached and has the present form")+"\n")
				}
				return cli.Print(cmd.OutOrStdout(), g.Words().Phrase(app.ArchiveAt(settings)+" is whole")+"\n")
			})
		},
	}
	check.Args = cli.NoArguments
	cmd.AddCommand(backup, restore, check, moveCommand(g))
	cmd.RunE = cli.NeedsMore("backup, restore, check or move?")
	return cmd
}

// moveCommand takes everything from the file in data_dir to the database of the
// settings, or back.
func moveCommand(g *cli.Globals) *cobra.Command {
	return &cobra.Command{
		Use: "move database|file", Short: "Copies everything from the file to the settings' PostgreSQL database, or back",
		Long: "Copies everything and compares both sides, row by row. The target must be empty, and no daemon may be running " +
			"meanwhile. The source stays as it is.",
		Args: cli.OneArgument("where to: database or file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			settings, err := g.Settings()
			if err != nil {
				return err
			}
			if !settings.Database.Given() {
				return cli.WrongUse("the settings name no database: give database_file or THAWLINE_DATABASE")
			}
			from, to := filepath.Join(settings.DataDir, app.ArchiveFile), settings.Database.Reveal()
			switch args[0] {
			case "database":
			case "file":
				from, to = to, from
			default:
				return cli.WrongUse(args[0] + ": move to database or to file")
			}
			app.KeepPrivate()
			release, err := alone(filepath.Join(settings.DataDir, app.ArchiveFile))
			if err != nil {
				return err
			}
			defer release()
			return move(cmd, g, from, to)
		},
	}
}

func move(cmd *cobra.Command, g *cli.Globals, from, to string) error {
	a, err := archive.Open(cmd.Context(), from)
	if err != nil {
		return err
	}
	defer a.Close()
	b, err := archive.Open(cmd.Context(), to)
	if err != nil {
		return err
	}
	defer b.Close()
	end := g.Busy(cmd, "moving")
	moved, err := a.Move(cmd.Context(), b)
	if end(); err != nil {
		return err
	}
	var words strings.Builder
	for _, m := range moved {
		fmt.Fprintf(&words, "%-18s %8d rows, the same on both sides (%s)\n", m.Table, m.Rows, m.Sum)
	}
	return g.Tell(cmd, moved, words.String())
}

// alone keeps everybody else from the file meanwhile: what a daemon writes into one
// that is moved aside is lost.
func alone(path string) (release func(), err error) {
	release, err = archive.Alone(path)
	if errors.Is(err, archive.ErrInUse) {
		return nil, fmt.Errorf("%w: stop it (sudo systemctl stop thawline), then do this again; nothing was changed", err)
	}
	return release, err
}

// restoreBackup checks the backup first, and never overwrites: the file in use
// is moved aside under the next free name.
func restoreBackup(ctx context.Context, from, to string) (said string, err error) {
	info, err := os.Stat(from)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return "", fmt.Errorf("%s: there is no such file; check its name and folder; nothing was changed", from)
		}
		return "", fmt.Errorf("backup: %w; nothing was changed", err)
	}
	if info.Size() == 0 { // which SQLite takes for a new database
		return "", damagedCopy(from)
	}
	release, err := alone(to)
	if err != nil {
		return "", err
	}
	defer release()
	copied := to + ".restored"
	defer func() { // of what was not put in place
		for _, tail := range tails {
			_ = os.Remove(copied + tail)
		}
	}()
	for _, tail := range []string{"", "-wal"} { // a copy of a file that was not closed has its log beside it
		if err := copyFile(from+tail, copied+tail); err != nil && (tail == "" || !errors.Is(err, fs.ErrNotExist)) {
			return "", err
		}
	}
	a, err := archive.Open(ctx, copied)
	if archive.Damaged(err) {
		return "", damagedCopy(from)
	}
	if err != nil {
		return "", fmt.Errorf("the backup is not fit to be restored, nothing was changed: %w", err)
	}
	if err := a.Close(); err != nil {
		return "", err
	}
	aside, err := moveAside(to)
	if err != nil {
		return "", err
	}
	if err := os.Rename(copied, to); err != nil {
		return "", fmt.Errorf("put the backup in place: %w", err)
	}
	text := "restored " + to + "\n"
	if aside != "" {
		text += "what was there is in " + aside + "\n"
	}
	return text, nil
}

// moveAside moves a database, where there is one, to the next free name beside it, which it
// returns.
func moveAside(name string) (aside string, err error) {
	if _, err := os.Stat(name); err != nil {
		return "", nil
	}
	for n := 1; ; n++ {
		aside = fmt.Sprintf("%s.before-%d", name, n)
		if _, err := os.Stat(aside); os.IsNotExist(err) {
			break
		}
	}
	for _, tail := range tails {
		if err := os.Rename(name+tail, aside+tail); err != nil && !os.IsNotExist(err) {
			return "", fmt.Errorf("move what is kept aside: %w; stop the daemon and try again", err)
		}
	}
	return aside, nil
}

// tails are the names of the files of one database, after its own.
var tails = []string{"", "-wal", "-shm"}

func damagedCopy(name string) error {
	return fmt.Errorf("%s: this copy is damaged, nothing was changed; take another", name)
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	defer in.Close()
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	if _, err := io.Copy(out, in); err != nil {
		_ = out.Close()
		return fmt.Errorf("restore: %w", err)
	}
	if err := out.Sync(); err != nil {
		_ = out.Close()
		return fmt.Errorf("restore: %w", err)
	}
	return out.Close()
}
