package gain

import (
	"io"
	"math"
	"time"

	"thawline/forecast/table"
	"thawline/forecast/weather"
)

// Row is one season of a table, with the names of its files.
type Row struct {
	Season
	WeatherFile, RecordsFile string
}

var columns = []string{"name", "weather", "records", "latitude", "longitude", "zone", "elevation_m", "warmer_k", "taps", "container_l",
	"from", "to"}

// ReadTable reads seasons: columns name, weather (a file), records (a file; without one,
// sap is drawn from what handbooks say, from the day from to the day to), latitude and
// longitude in degrees, zone, elevation_m, warmer_k (what the bush is warmer by than where
// the weather was measured), taps, and container_l, what hangs at each. Errors call the
// table by name and tell everything that is wrong.
func ReadTable(r io.Reader, name string) ([]Row, error) {
	return readTable(r, name, func(line *table.Row, one *Row) {
		if one.Taps < 1 {
			line.Fail("taps", "no number of taps", "give one or more")
		}
		if one.ContainerL <= 0 {
			line.Fail("container_l", "no volume", "give the litres that hang at each tap")
		}
	}, "taps", "container_l")
}

// ReadRecorded reads seasons that all have records, of which taps and container_l may be
// left out.
func ReadRecorded(r io.Reader, name string) ([]Row, error) {
	return readTable(r, name, func(line *table.Row, one *Row) {
		if one.RecordsFile == "" {
			line.Fail("records", "no file", "name a file of tap records")
		}
	})
}

func readTable(r io.Reader, name string, check func(line *table.Row, one *Row), more ...string) ([]Row, error) {
	t, err := table.NewReader(r, name, columns)
	if err != nil {
		return nil, err
	}
	t.Require(append([]string{"name", "weather", "records", "latitude", "longitude", "zone"}, more...)...)
	if err := t.Err(); err != nil {
		return nil, err
	}
	var rows []Row
	for line := range t.Rows() {
		one := Row{WeatherFile: line.Text("weather"), RecordsFile: line.Text("records")}
		one.Name = line.Text("name")
		one.Place = weather.Place{LatitudeDeg: line.Number("latitude"), LongitudeDeg: line.Number("longitude"),
			ElevationM: line.Number("elevation_m")}
		if math.IsNaN(one.Place.LatitudeDeg+one.Place.LongitudeDeg) || math.Abs(one.Place.LatitudeDeg) > 90 ||
			math.Abs(one.Place.LongitudeDeg) > 180 {
			line.Fail("latitude", "latitude and longitude name no place", "write degrees north and east")
		}
		if one.Zone, err = time.LoadLocation(line.Text("zone")); err != nil || line.Text("zone") == "" {
			line.Fail("zone", line.Text("zone")+": no such time zone", "write one such as America/New_York")
			continue
		}
		if k := line.Number("warmer_k"); !math.IsNaN(k) {
			one.WarmerK = k
		}
		if n := line.Number("taps"); n >= 1 {
			one.Taps = int(n)
		}
		if l := line.Number("container_l"); l > 0 {
			one.ContainerL = l
		}
		check(&line, &one)
		if one.WeatherFile == "" {
			line.Fail("weather", "no file", "name an hourly or a daily weather file")
		}
		if one.RecordsFile == "" {
			from, ok := line.Date("from")
			to, too := line.Date("to")
			if !ok || !too || !to.After(from) {
				continue
			}
			one.From = time.Date(from.Year(), from.Month(), from.Day(), firstHour, 0, 0, 0, one.Zone)
			one.To = time.Date(to.Year(), to.Month(), to.Day(), habitHour, 0, 0, 0, one.Zone)
		}
		rows = append(rows, one)
	}
	return rows, t.Err()
}
