package setup

import (
	"fmt"
	"log/slog"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// A bush whose height nobody has said is named, with what to write and where, in the reader's
// unit and language; one at sea level, or with its height, is not.
func TestCheckNamesWhoHasNoElevation(t *testing.T) {
	for _, c := range []struct {
		language string
		units    units.System
		height   float64
		want     string
	}{
		{"en", units.US, math.NaN(), "hill has no elevation: write it into /etc/thawline/thawline.yaml below its longitude, such as elevation: 1150 ft"},
		{"fr", units.Metric, math.NaN(), "hill n'a pas d'altitude : écrivez-la dans /etc/thawline/thawline.yaml sous sa longitude, comme elevation: 350 m"},
		{"en", units.Metric, 0, ""}, {"en", units.Metric, 420, ""},
	} {
		settings := &config.Config{DataDir: t.TempDir(), File: "/etc/thawline/thawline.yaml", Language: c.language, Units: c.units,
			Sites: []forecast.Site{{ID: "hill", Zone: time.UTC, Place: weather.Place{LatitudeDeg: 44.6, LongitudeDeg: -72.3, ElevationM: c.height}}}}
		words, err := app.Words(settings)
		if err != nil {
			t.Fatal(err)
		}
		check := NewCheck(t.Context(), app.Env{Log: slog.New(slog.DiscardHandler), Clock: time.Now}, settings, words, "")
		said := ""
		for _, f := range check.Findings {
			said += fmt.Sprintln(f.Said)
		}
		if named := strings.Contains(said, "elevation:"); named != (c.want != "") || !strings.Contains(said, c.want) {
			t.Errorf("%s, %.0f m: %s", c.language, c.height, said)
		}
	}
}
