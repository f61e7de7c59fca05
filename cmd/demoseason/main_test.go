package main

import (
	"bytes"
	"math"
	"testing"
	"time"

	"thawline/config"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata"
)

func TestFilesAreWhatTheSeedWrites(t *testing.T) {
	files, err := invent()
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range files {
		kept, err := testdata.Files.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(kept, data) {
			t.Errorf("testdata/%s is not what cmd/demoseason writes; run: go run ./cmd/demoseason", name)
		}
	}
}

// The bounds are common practice for hills at 44° N and 400 m.
func TestSeasonReadsLikeOne(t *testing.T) {
	s := inventSeason(first, hours, seed)
	sum, count := map[time.Month]float64{}, map[time.Month]float64{}
	thaws, longest, cold := 0, 0, 0
	for d := range hours / 24 {
		low, high := math.Inf(1), math.Inf(-1)
		for h := d * 24; h < d*24+24; h++ {
			x := s.At(weather.TemperatureC, h)
			low, high = min(low, x), max(high, x)
			sum[s.Time(h).Month()] += x
			count[s.Time(h).Month()]++
		}
		at := s.Time(d * 24)
		if at.Month() == time.March && high < 0 {
			cold++
			longest = max(longest, cold)
		} else {
			cold = 0
		}
		if at.After(time.Date(2026, 3, 5, 0, 0, 0, 0, time.UTC)) && at.Before(time.Date(2026, 4, 20, 0, 0, 0, 0, time.UTC)) &&
			low <= -1.1 && high >= 2.2 {
			thaws++
		}
	}
	mean := func(m time.Month) float64 { return sum[m] / count[m] }
	if m := mean(time.January); m < -12 || m > -6 {
		t.Errorf("January has a mean of %.1f °C", m)
	}
	if m := mean(time.April); m < 2 || m > 7 {
		t.Errorf("April has a mean of %.1f °C", m)
	}
	if m := mean(time.May); m < 9 {
		t.Errorf("May has a mean of %.1f °C", m)
	}
	if thaws < 14 || longest < 4 {
		t.Errorf("%d days of frost and thaw, %d days of frost on end in March", thaws, longest)
	}
	for i := range s.Hours() {
		sun := weather.SunAt(s.Time(i).Add(30*time.Minute), place.LatitudeDeg, place.LongitudeDeg)
		w := s.At(weather.ShortwaveWM2, i)
		if s.At(weather.DewPointC, i) > s.At(weather.TemperatureC, i) || s.At(weather.RelativeHumidityPct, i) > 100 ||
			w > weather.ClearSkyShortwaveWM2(sun.ElevationDeg)+1 {
			t.Fatalf("%s is not physical", s.Time(i))
		}
	}
}

func TestSettingsAndRecordsLoad(t *testing.T) {
	c, err := config.Load("../../testdata/thawline.yaml", nil)
	if err != nil {
		t.Fatal(err)
	}
	data, err := testdata.Files.ReadFile("records.csv")
	if err != nil {
		t.Fatal(err)
	}
	visits, err := records.ReadCSV(bytes.NewReader(data), "records.csv", c.Sites[0].Zone)
	if err != nil || len(visits) < 60 {
		t.Fatalf("%d visits: %v", len(visits), err)
	}
}
