package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Rescue is what was put in the place of a damaged file.
type Rescue struct {
	Backup  string    // the copy that was taken
	MadeAt  time.Time // when that was written
	Aside   string    // where the damaged file is
	Tables  []string  // that were read whole from the damaged file, and go on as they were
	Missing []string  // that could not be: they are as old as the copy
}

// ErrNoBackup is what PutBackBackup gives where no copy is whole.
var ErrNoBackup = errors.New("no whole copy was found")

// PutBackBackup puts the newest whole copy of a folder in the place of a damaged file,
// which is moved aside, and takes over each table of that file that can still be read
// whole. Nobody else may have the file open.
func PutBackBackup(ctx context.Context, path, folder string) (*Rescue, error) {
	release, err := Alone(path)
	if err != nil {
		return nil, err
	}
	defer release()
	names, err := filepath.Glob(filepath.Join(folder, "thawline-*.db"))
	if err != nil {
		return nil, fmt.Errorf("copies in %s: %w", folder, err)
	}
	slices.Sort(names) // by their dates
	fresh := path + ".rescued"
	defer removeAll(fresh)
	for _, name := range slices.Backward(names) {
		info, err := os.Lstat(name)
		if err != nil || !info.Mode().IsRegular() || info.Size() == 0 {
			continue
		}
		removeAll(fresh)
		if err := copyNew(name, fresh); err != nil {
			return nil, err
		}
		a, err := Open(ctx, fresh)
		if err != nil {
			continue // an older one may be whole
		}
		r := &Rescue{Backup: name, MadeAt: info.ModTime()}
		r.Tables, r.Missing, err = a.takeOver(ctx, path)
		if err = errors.Join(err, a.Close()); err != nil {
			return nil, err
		}
		if r.Aside, err = moveAside(path, ".damaged-"); err != nil {
			return nil, err
		}
		if err := os.Rename(fresh, path); err != nil {
			return nil, fmt.Errorf("put the copy in place: %w", err)
		}
		return r, nil
	}
	return nil, fmt.Errorf("%w in %s", ErrNoBackup, folder)
}

// ofFile are the ends of the names of the files of one database.
var ofFile = []string{"", "-wal", "-shm"}

func removeAll(path string) {
	for _, end := range ofFile {
		_ = os.Remove(path + end)
	}
}

func moveAside(path, how string) (string, error) {
	var aside string
	for n := 1; ; n++ {
		aside = path + how + strconv.Itoa(n)
		if _, err := os.Lstat(aside); errors.Is(err, os.ErrNotExist) {
			break
		}
	}
	for _, end := range ofFile {
		if err := os.Rename(path+end, aside+end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("move the damaged file aside: %w", err)
		}
	}
	return aside, nil
}

func copyNew(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("copy: %w", err)
	}
	defer func() { _ = in.Close() }()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("copy: %w", err)
	}
	_, err = io.Copy(out, in)
	if err = errors.Join(err, out.Sync(), out.Close()); err != nil {
		return fmt.Errorf("copy: %w", err)
	}
	return nil
}

// takeOver takes each table of a damaged file that can be read whole, in the place of
// what the copy has of it.
func (a *Archive) takeOver(ctx context.Context, damaged string) (whole, missing []string, err error) {
	conn, err := a.db.Conn(ctx)
	if err != nil {
		return nil, nil, a.told("rescue", err)
	}
	defer func() { _ = conn.Close() }()
	names, err := tablesOf(ctx, conn)
	if err != nil {
		return nil, nil, a.told("rescue", err)
	}
	if _, err := conn.ExecContext(ctx, "PRAGMA foreign_keys = 0"); err != nil {
		return nil, nil, a.told("rescue", err)
	}
	if _, err := conn.ExecContext(ctx, "ATTACH DATABASE ?1 AS damaged", damaged); err != nil {
		return nil, names, nil // not even its first page can be read
	}
	for _, name := range names {
		if err := replaceTable(ctx, conn, name); err != nil {
			missing = append(missing, name)
			continue
		}
		whole = append(whole, name)
	}
	_, err = conn.ExecContext(ctx, "DETACH DATABASE damaged")
	return whole, missing, err
}

func tablesOf(ctx context.Context, conn *sql.Conn) (names []string, err error) {
	rows, err := conn.QueryContext(ctx, "SELECT name FROM main.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name NOT LIKE 'goose_%' ORDER BY name")
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

func replaceTable(ctx context.Context, conn *sql.Conn, name string) error {
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	quoted := `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
	for _, q := range []string{"DELETE FROM main." + quoted, "INSERT INTO main." + quoted + " SELECT * FROM damaged." + quoted +
		" NOT INDEXED"} {
		if _, err := tx.ExecContext(ctx, q); err != nil {
			return errors.Join(err, tx.Rollback())
		}
	}
	return tx.Commit()
}
