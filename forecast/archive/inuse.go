package archive

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// inUseSuffix names the file beside the database on which those who have it open
// hold a lock. SQLite's own locks don't tell: they are held during a statement only,
// and on the file that is moved.
const inUseSuffix = ".in-use"

// ErrInUse is what Alone says while others have the file open.
var ErrInUse = errors.New("a daemon or another command has the records open")

// OpenInUse opens as Open does, and until Close keeps others from putting another
// file in the place of this one.
func OpenInUse(ctx context.Context, path string) (*Archive, error) {
	if isPostgres(path) {
		return Open(ctx, path)
	}
	held, err := lockBeside(path, syscall.LOCK_SH)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, fmt.Errorf("%s is being restored or moved; try again in a moment", path)
	}
	// Any other fault of the lock is one of its folder, and opening tells of it; where
	// it does not, records are worth more than the lock.
	a, err := Open(ctx, path)
	if err != nil {
		_ = held.Close() // of nothing too
		return nil, err
	}
	a.held = held
	return a, nil
}

// Alone holds the file for its caller until release, or fails with ErrInUse.
func Alone(path string) (release func(), err error) {
	held, err := lockBeside(path, syscall.LOCK_EX)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, ErrInUse
	}
	if err != nil {
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	return func() { _ = held.Close() }, nil
}

// lockBeside locks without waiting; the lock goes with the program, however it ends.
func lockBeside(path string, how int) (*os.File, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path+inUseSuffix, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}
