package daemon

import (
	"context"
	"path/filepath"
	"testing"
	"time"
)

// The same settings read again are no reason to ask for all weather anew; a bush
// that is changed is looked at now.
func TestReloadOfTheSameSettings(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	const bushes = Many + 1
	d := started(t, filepath.Join(t.TempDir(), "d.db"), many(bushes, nil), now)
	d.Step(context.Background(), now)
	now = now.Add(time.Minute)
	again := many(bushes, nil)
	again.Sites[3].Groups = append(again.Sites[3].Groups[:0:0], again.Sites[3].Groups...)
	again.Sites[3].Groups[0].Taps++
	if err := d.Use(again, now); err != nil {
		t.Fatal(err)
	}
	for _, j := range d.jobs {
		if changed := j.site.ID == again.Sites[3].ID; j.name == "refresh" && changed != !j.next.After(now) {
			t.Errorf("%s is looked at %s", j.site.ID, j.next)
		}
	}
}
