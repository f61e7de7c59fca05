// Package testdata holds the demonstration: a season at an invented bush, its
// crew's records, and the forecast of one evening in each service's format.
// cmd/demoseason writes the files.
package testdata

import (
	"embed"
	"time"
)

// Files are the files of the demonstration: thawline.yaml, weather.csv,
// earlier.csv (lows and highs of the springs before), records.csv and a folder
// for each service.
//
//go:embed thawline.yaml weather.csv earlier.csv records.csv open_meteo nws met_norway environment_canada
var Files embed.FS

// Now is the moment of the demonstration: half past five on an evening in March,
// local time.
func Now() time.Time { return time.Date(2026, 3, 20, 21, 30, 0, 0, time.UTC) }
