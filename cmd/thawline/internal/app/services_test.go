package app

import (
	"fmt"
	"log/slog"
	"sync"
	"testing"

	"thawline/testdata"
)

// Sites are asked for side by side: the race detector looks on.
func TestServicesAskedSideBySide(t *testing.T) {
	settings := demoSettingsFile(t)
	for _, first := range []string{"open_meteo", "nws", "met_norway", "environment_canada"} {
		settings.Weather.Sources = []string{first}
		chain, _, err := Services(Env{Log: slog.New(slog.DiscardHandler)}, settings, Storage{dir: t.TempDir(), Transport: testdata.Transport()})
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for i := range 6 {
			wg.Go(func() {
				site := settings.Sites[0]
				site.ID = fmt.Sprint("site-", i%3)
				if _, err := Fetch(t.Context(), chain, &site, testdata.Now()); err != nil {
					t.Errorf("%s: %v", first, err)
				}
			})
		}
		wg.Wait()
	}
}
