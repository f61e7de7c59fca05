package verify

import (
	"fmt"
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
	Station             string
	Night               time.Time // the date on which the night begins
	LowEvening          float64   // as told on the evening of Night, together with High24
	Low12, Low24, Low36 float64
	High24, High36      float64
	High48              float64
	LowSeen, HighSeen   float64

	before   *Pair // the night before of the same station, nil where the file has none
	observed bool
}

// night is one station's night.
type night struct {
	station string
	of      time.Time
}

// eveningColumn may be missing: the newest forecasts are the morning's then.
const eveningColumn = "low_forecast_evening_f"

var pairColumns = []string{
	"station", "night_of", "low_forecast_12h_f", "low_forecast_24h_f", "low_forecast_36h_f", "low_observed_f",
	"next_high_forecast_24h_f", "next_high_forecast_36h_f", "next_high_forecast_48h_f", "next_high_observed_f",
}

// ReadPairs reads a file of low and high forecasts with what was observed.
// Errors call the file by name and tell everything that is wrong at once.
func ReadPairs(r io.Reader, name string) ([]Pair, error) {
	t, err := table.NewReader(r, name, append([]string{eveningColumn}, pairColumns...))
	if err != nil {
		return nil, err
	}
	t.Require(pairColumns...)
	if err := t.Err(); err != nil {
		return nil, err
	}
	seen := map[night]int{}
	last := map[string]time.Time{}
	var pairs []Pair
	for row := range t.Rows() {
		date, ok := row.Date("night_of")
		if !ok {
			continue
		}
		p := Pair{Station: row.Text("station"), Night: date}
		for _, c := range []struct {
			column string
			into   *float64
		}{
			{eveningColumn, &p.LowEvening}, {"low_forecast_12h_f", &p.Low12}, {"low_forecast_24h_f", &p.Low24},
			{"low_forecast_36h_f", &p.Low36}, {"low_observed_f", &p.LowSeen},
			{"next_high_forecast_24h_f", &p.High24}, {"next_high_forecast_36h_f", &p.High36}, {"next_high_forecast_48h_f", &p.High48},
			{"next_high_observed_f", &p.HighSeen},
		} {
			*c.into = row.Number(c.column)
			if *c.into < -80 || *c.into > 135 {
				row.Fail(c.column, row.Text(c.column)+" °F is no temperature of any station", "check the column and its unit")
			}
		}
		k := night{p.Station, date}
		if before, twice := seen[k]; twice {
			row.Fail("night_of", "the same night of the same station as line "+strconv.Itoa(before), "leave one of them out")
		}
		if date.Before(last[p.Station]) {
			row.Fail("night_of", "earlier than the row of "+p.Station+" before it", "sort each station's rows by night")
		}
		seen[k], last[p.Station] = row.Line, date
		p.observed = !math.IsNaN(p.LowSeen) && !math.IsNaN(p.HighSeen)
		pairs = append(pairs, p)
	}
	if err := t.Err(); err != nil {
		return nil, err
	}
	followNights(pairs)
	return pairs, sameUnits(pairs, name)
}

// followNights joins each station's nights to those before them.
func followNights(pairs []Pair) {
	at := map[night]*Pair{}
	for i := range pairs {
		at[night{pairs[i].Station, pairs[i].Night}] = &pairs[i]
	}
	for i := range pairs {
		pairs[i].before = at[night{pairs[i].Station, pairs[i].Night.AddDate(0, 0, -1)}]
	}
}

// hasEvenings reports whether any night has the forecast of its own evening.
func hasEvenings(pairs []Pair) bool {
	for i := range pairs {
		if !math.IsNaN(pairs[i].LowEvening) {
			return true
		}
	}
	return false
}

// sameUnits refuses files in °C, and those in which forecasts and observations
// of a station are in different units: no forecast errs by so much on average.
func sameUnits(pairs []Pair, name string) error {
	type sums struct{ n, lowErr, highErr, highs, hot float64 }
	by := map[string]*sums{}
	var stations []string
	for i := range pairs {
		p := &pairs[i]
		low, high := p.Low12, p.High36
		if math.IsNaN(low + high) {
			low, high = p.LowEvening, p.High24
		}
		if !p.observed || math.IsNaN(low+high) {
			continue
		}
		if by[p.Station] == nil {
			by[p.Station] = &sums{}
			stations = append(stations, p.Station)
		}
		s := by[p.Station]
		s.n++
		s.lowErr += p.LowSeen - low
		s.highErr += p.HighSeen - high
		s.highs += p.HighSeen
		s.hot = max(s.hot, p.HighSeen, high)
	}
	for _, station := range stations {
		const fewest, tooMuch = 10, 15
		switch s := by[station]; {
		case s.n < fewest:
		case math.Abs(s.lowErr/s.n) > tooMuch || math.Abs(s.highErr/s.n) > tooMuch:
			return fmt.Errorf("%s: forecasts and observations of %s differ by %.0f °F on average; one of them is in another unit, write all in °F", name, station, max(math.Abs(s.lowErr), math.Abs(s.highErr))/s.n)
		case s.highs/s.n < 25 && s.hot < 45:
			return fmt.Errorf("%s: the highs of %s look like °C; write them in °F", name, station)
		}
	}
	return nil
}

// Overlap is how many of the nights to score the model had seen.
func Overlap(train, test []Pair) int {
	seen := map[night]bool{}
	for i := range train {
		seen[night{train[i].Station, train[i].Night}] = true
	}
	n := 0
	for i := range test {
		if seen[night{test[i].Station, test[i].Night}] {
			n++
		}
	}
	return n
}
