package archive

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"modernc.org/sqlite"
)

// makeFile makes a file of the present form where there is none: step by step in memory, and
// whole on the disk, since some thirty steps on a disk are as many waits for it. A name that
// somebody else took meanwhile is theirs.
func makeFile(ctx context.Context, path string) error {
	for _, suffix := range []string{"", "-wal", "-shm", "-journal"} { // what is left of another file is SQLite's to judge
		if _, err := os.Lstat(path + suffix); !errors.Is(err, os.ErrNotExist) {
			return nil
		}
	}
	whole, err := emptyForm(ctx)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".thawline-new-")
	if err != nil {
		return fmt.Errorf("new file of records: %w", err)
	}
	_, err = f.Write(whole)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Link(f.Name(), path)
	}
	if err = errors.Join(err, os.Remove(f.Name())); err != nil {
		return fmt.Errorf("new file of records: %w", err)
	}
	return nil
}

// emptyForm is the present form without any records, as a file has it.
func emptyForm(ctx context.Context) (whole []byte, err error) {
	db := sql.OpenDB(&parsing{inner: &sqlite.Driver{}, dsn: ":memory:", turn: make(turn, 1)})
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1) // each has a memory of its own
	a := &Archive{db: db, path: "a new file"}
	if err := a.bringToForm(ctx); err != nil {
		return nil, err
	}
	c, err := db.Conn(ctx)
	if err != nil {
		return nil, a.told("read", err)
	}
	defer func() { err = errors.Join(err, c.Close()) }()
	err = c.Raw(func(driver any) error {
		in, _ := driver.(*parsedConn)
		all, ok := in.sqliteConn.(interface{ Serialize() ([]byte, error) })
		if !ok {
			return errors.New("this SQLite can't hand out what lies in memory")
		}
		whole, err = all.Serialize()
		return err
	})
	return whole, err
}
