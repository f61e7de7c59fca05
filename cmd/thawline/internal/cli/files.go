package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// ReadNotebook reads a file of records, with what of it was not read.
func ReadNotebook(path string, zone *time.Location) (records.Notebook, error) {
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return records.Notebook{}, fmt.Errorf(
			"%s: there is no such file; check its name, and give its folder too, such as Downloads/notebook.csv", path)
	}
	if err != nil {
		return records.Notebook{}, fmt.Errorf("records file: %w", err)
	}
	defer file.Close()
	return records.ReadNotebook(file, path, zone)
}

// ReadRecords reads the visits of a file that are not kept, and refuses figures that
// nothing can be learnt from.
func ReadRecords(path string, zone *time.Location) ([]records.Visit, error) {
	notebook, err := ReadNotebook(path, zone)
	for i := range notebook.Visits {
		if v := &notebook.Visits[i]; v.VolumeL < 0 || v.BrixPct < 0 {
			return nil, fmt.Errorf("%s:%d: neither volume nor sugar can be below zero; check the value", path, v.Line)
		}
	}
	return notebook.Visits, err
}

// ReadDaily reads a file of daily lows and highs.
func ReadDaily(path string) (*weather.Daily, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("temperatures file: %w", err)
	}
	defer file.Close()
	d, err := weather.ReadDailyCSV(file, path)
	return &d, err
}

// KindOf tells weather files by their first line.
func KindOf(path string) (daily, hourly bool, err error) {
	file, err := os.Open(path)
	if err != nil {
		return false, false, fmt.Errorf("weather file: %w", err)
	}
	defer file.Close()
	line, _ := bufio.NewReader(file).ReadString('\n')
	line = strings.ToLower(line)
	return strings.Contains(line, "tmin_c"), strings.Contains(line, "temperature_c"), nil
}

// ReadWeathers reads weather files, hourly or daily, into one series; where two
// speak of the same hour, the first counts.
func ReadWeathers(paths []string, place weather.Place) (*weather.Series, error) {
	var all weather.Series
	for _, path := range paths {
		daily, _, err := KindOf(path)
		if err != nil {
			return nil, err
		}
		var s weather.Series
		if daily {
			d, err := ReadDaily(path)
			if err != nil {
				return nil, err
			}
			d.FillGaps()
			s = d.Hourly(place)
		} else if s, _, err = readHourly(path); err != nil {
			return nil, err
		}
		all = s.Overlay(&all)
	}
	return &all, nil
}

func readHourly(path string) (weather.Series, []weather.Remark, error) {
	file, err := os.Open(path)
	if err != nil {
		return weather.Series{}, nil, fmt.Errorf("weather file: %w", err)
	}
	defer file.Close()
	return weather.ReadCSV(file, path)
}
