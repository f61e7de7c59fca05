package verify

import (
	"io"
	"math"
	"strconv"
	"time"

	"thawline/forecast/table"
)

// Pair is a forecast low of a night and high of the day after it, °F, as issued
// at several leads (hours before, NaN where there is none), with what was
// observed.
type Pair struct {
	Station              string
	Night                time.Time // the date on which the night begins
	Low12, Low24, Low36  float64
	High24, High36       float64
	High48               float64
	LowSeen, HighSeen    float64
	observed, forecasted bool
}

var pairColumns = []string{
	"station", "night_of", "low_forecast_12h_f", "low_forecast_24h_f", "low_forecast_36h_f", "low_observed_f",
	"next_high_forecast_24h_f", "next_high_forecast_36h_f", "next_high_forecast_48h_f", "next_high_observed_f",
}

// ReadPairs reads a file of low and high forecasts with what was observed.
// Errors call the file by name and tell everything that is wrong at once.
func ReadPairs(r io.Reader, name string) ([]Pair, error) {
	t, err := table.NewReader(r, name, pairColumns)
	if err != nil {
		return nil, err
	}
	t.Require(pairColumns...)
	if err := t.Err(); err != nil {
		return nil, err
	}
	type key struct {
		station string
		night   time.Time
	}
	seen := map[key]int{}
	var pairs []Pair
	for row := range t.Rows() {
		night, ok := row.Date("night_of")
		if !ok {
			continue
		}
		p := Pair{Station: row.Text("station"), Night: night}
		for _, c := range []struct {
			column string
			into   *float64
		}{
			{"low_forecast_12h_f", &p.Low12}, {"low_forecast_24h_f", &p.Low24}, {"low_forecast_36h_f", &p.Low36}, {"low_observed_f", &p.LowSeen},
			{"next_high_forecast_24h_f", &p.High24}, {"next_high_forecast_36h_f", &p.High36}, {"next_high_forecast_48h_f", &p.High48}, {"next_high_observed_f", &p.HighSeen},
		} {
			*c.into = row.Number(c.column)
			if *c.into < -80 || *c.into > 135 {
				row.Fail(c.column, row.Text(c.column)+" °F is no temperature of any station", "check the column and its unit")
			}
		}
		k := key{p.Station, night}
		if before, twice := seen[k]; twice {
			row.Fail("night_of", "the same night of the same station as line "+strconv.Itoa(before), "leave one of them out")
		}
		seen[k] = row.Line
		p.observed = !math.IsNaN(p.LowSeen) && !math.IsNaN(p.HighSeen)
		p.forecasted = !math.IsNaN(p.Low12) && !math.IsNaN(p.High36)
		pairs = append(pairs, p)
	}
	return pairs, t.Err()
}
