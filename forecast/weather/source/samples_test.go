package source

import (
	"os"
	"testing"

	"thawline/testdata/beside"
)

// sample reads a captured answer of a real service.
func sample(t *testing.T, path string) []byte {
	t.Helper()
	body, err := os.ReadFile(beside.File(t, "samples/"+path))
	if err != nil {
		t.Fatal(err)
	}
	return body
}
