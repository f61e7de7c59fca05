package source

import (
	"os"
	"path/filepath"
	"testing"
)

// sample reads a captured response from a folder shared/samples that lies
// beside the checkout, and skips the test where there is none.
func sample(t *testing.T, path string) []byte {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for dir != filepath.Dir(dir) {
		if body, err := os.ReadFile(filepath.Join(dir, "shared", "samples", path)); err == nil {
			return body
		}
		dir = filepath.Dir(dir)
	}
	t.Skipf("no captured response %s beside this checkout: not read", path)
	return nil
}
