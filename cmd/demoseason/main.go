// Command demoseason invents the demonstration season in testdata: weather,
// tap records, and the forecast of one evening in each service's format. The
// same seed writes the same files.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

func main() {
	out := flag.String("out", "testdata", "folder to write to")
	flag.Parse()
	files, err := invent()
	if err == nil {
		err = write(*out, files)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "demoseason:", err)
		os.Exit(1)
	}
}

func write(dir string, files map[string][]byte) error {
	for name, data := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return fmt.Errorf("make the folder of %s: %w", name, err)
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
	}
	return nil
}

// invent returns every file by its name below testdata.
func invent() (map[string][]byte, error) {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		return nil, fmt.Errorf("load the zone: %w", err)
	}
	truth := inventSeason(first, hours, seed)
	expected := expect(&truth)
	files := map[string][]byte{}
	var b bytes.Buffer
	if err := weather.WriteCSV(&b, &truth); err != nil {
		return nil, fmt.Errorf("weather: %w", err)
	}
	files["weather.csv"] = bytes.Clone(b.Bytes())

	var visits []records.Visit
	b.Reset()
	b.WriteString("date,tmin_c,tmax_c\n")
	for back := earlierSeasons; back > 0; back-- {
		before := inventSeason(first.AddDate(-back, 0, 0), hours, seed+uint64(back))
		writeDays(&b, &before, zone)
		visits = append(visits, keepNotebook(&before, zone, before.End(), uint64(4-back))...)
	}
	files["earlier.csv"] = bytes.Clone(b.Bytes())
	visits = append(visits, keepNotebook(&truth, zone, issued, 4)...)
	b.Reset()
	if err := records.WriteCSV(&b, visits, zone); err != nil {
		return nil, fmt.Errorf("records: %w", err)
	}
	files["records.csv"] = bytes.Clone(b.Bytes())

	bodies := map[string]any{
		"open_meteo/forecast.json": openMeteoForecast(&expected), "open_meteo/ensemble.json": openMeteoEnsemble(&expected),
		"open_meteo/archive.json": openMeteoArchive(&truth), "open_meteo/zone.json": openMeteoZone(),
		"nws/point.json": nwsPoint(), "nws/gridpoint.json": nwsGridpoint(&expected),
		"nws/stations.json": nwsStations(), "nws/observations.json": nwsObservations(&truth),
		"met_norway/complete.json":          metNorwayComplete(&expected),
		"environment_canada/city-page.json": cityPage(&expected), "environment_canada/climate-hourly.json": climateHourly(&truth),
	}
	for name, body := range bodies {
		data, err := json.Marshal(body)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = append(data, '\n')
	}
	return files, nil
}

// earlierSeasons is how many springs the notebook goes back.
const earlierSeasons = 3

// writeDays writes lows and highs, as a neighbour's thermometer would give them.
func writeDays(b *bytes.Buffer, s *weather.Series, zone *time.Location) {
	d := s.Days(zone)
	for i := range d.Days() {
		low, high := d.At(i)
		if math.IsNaN(low) { // a day that is not whole
			continue
		}
		fmt.Fprintf(b, "%s,%.1f,%.1f\n", d.Date(i).Format(time.DateOnly), low, high)
	}
}

// expect is the weather as it looked at issue time: what was, and after that
// the truth with errors such as forecasts have.
func expect(truth *weather.Series) weather.Series {
	future := truth.Between(issued, issued.AddDate(0, 0, 17))
	wrong := weather.ErrorMembers(&future, place, issued, 2, seed+7)[1]
	for i := range wrong.Hours() { // members tell humidity by the dew point alone
		at := wrong.Time(i)
		wrong.Set(weather.RelativeHumidityPct, at,
			weather.RelativeHumidityFrom(wrong.At(weather.TemperatureC, i), wrong.At(weather.DewPointC, i)))
	}
	past := truth.Between(first, issued)
	return past.Overlay(&wrong)
}

// value is a number for JSON, null where there is none.
func value(x float64, digits int) any {
	if math.IsNaN(x) {
		return nil
	}
	return round(x, digits)
}
