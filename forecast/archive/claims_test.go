package archive

import (
	"path/filepath"
	"testing"
	"time"
)

// An outlook that one daemon has made another one reads; an older does not replace a
// newer.
func TestOutlooksAreThereForOthers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "o.db")
	one, two := opened(t, path), opened(t, path)
	for i, said := range []string{"first", "second", "late"} {
		made := now.Add(time.Duration([]int{0, 10, 5}[i]) * time.Minute)
		if err := one.PutOutlook(t.Context(), "hill", made, made, said); err != nil {
			t.Fatal(err)
		}
	}
	var said string
	if found, err := two.Outlook(t.Context(), "hill", time.Time{}, &said); err != nil || !found || said != "second" {
		t.Errorf("%v %t %q", err, found, said)
	}
	if found, err := two.Outlook(t.Context(), "hill", now.Add(10*time.Minute), &said); err != nil || found {
		t.Errorf("nothing newer, yet found: %v", err)
	}
}
