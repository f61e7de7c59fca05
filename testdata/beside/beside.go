// Package beside finds what tests need beside this project: measurements and
// captured answers that may not be copied into it, in a folder shared beside the
// checkout, a PostgreSQL database, and a free port.
package beside

import (
	"os"
	"path/filepath"
	"testing"
)

// File returns the path of a file below shared, such as
// "data/hill-station-2015-hourly.csv", and skips the test where there is none. A copy of
// the checkout that lies elsewhere, as tools make that put faults into it, is told by
// THAWLINE_TEST_SHARED where the folder is.
func File(t testing.TB, path string) string {
	t.Helper()
	if shared := os.Getenv("THAWLINE_TEST_SHARED"); shared != "" {
		return filepath.Join(shared, filepath.FromSlash(path))
	}
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for ; dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		file := filepath.Join(dir, "shared", filepath.FromSlash(path))
		if _, err := os.Stat(file); err == nil {
			return file
		}
	}
	t.Skipf("shared/%s is not beside this checkout: what needs it is not checked", path)
	return ""
}

// Open opens such a file until the test ends.
func Open(t testing.TB, path string) *os.File {
	t.Helper()
	f, err := os.Open(File(t, path))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}
