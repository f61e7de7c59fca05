package archive

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// ErrNewer is what a file, or a database, of a newer thawline is refused with: to try again
// is of no use.
var ErrNewer = errors.New("was written by a newer thawline")

// newer says what to do about a form that is not known here.
func (a *Archive) newer(have, known int64) error {
	remedy := "install that version again, or put a backup in the place of this"
	for form := known; form > 0 && !a.postgres; form-- {
		if copied := a.before(form); isFile(copied) {
			remedy = "install that version again, or go back to what was kept before the upgrade: thawline db restore " + copied
			break
		}
	}
	return fmt.Errorf("%s %w (form %d, this one knows %d); %s", a.path, ErrNewer, have, known, remedy)
}

// before is where a file of an older form is kept when it is brought to the present one.
func (a *Archive) before(form int64) string { return fmt.Sprintf("%s.before-form-%d", a.path, form+1) }

func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

// copyBefore keeps a copy of a file before it is changed for good. PostgreSQL is copied
// with its own tools.
func (a *Archive) copyBefore(ctx context.Context, have int64) error {
	to := a.before(have)
	if a.postgres || have == 0 || isFile(to) {
		return nil
	}
	part := to + ".part"
	_ = os.Remove(part) // of a start that was cut short
	if _, err := a.db.ExecContext(ctx, "VACUUM INTO ?1", part); err != nil {
		return errors.Join(a.told("keep a copy before the upgrade of", err), os.Remove(part))
	}
	if err := errors.Join(os.Chmod(part, 0o600), os.Rename(part, to)); err != nil {
		return fmt.Errorf("keep a copy before the upgrade of %s: %w", a.path, err)
	}
	return nil
}
