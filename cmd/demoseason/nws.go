package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"thawline/forecast/weather"
)

// The office, grid and stations are invented.
const (
	nwsRoot = "https://api.weather.gov"
	nwsGrid = nwsRoot + "/gridpoints/ZZV/61,47"
)

func nwsPoint() map[string]any {
	return map[string]any{
		"id": nwsRoot + "/points/44.62,-72.31", "type": "Feature",
		"geometry": map[string]any{"type": "Point", "coordinates": []float64{-72.31, 44.62}},
		"properties": map[string]any{"gridId": "ZZV", "gridX": 61, "gridY": 47, "forecastGridData": nwsGrid,
			"forecastHourly": nwsGrid + "/forecast/hourly", "observationStations": nwsGrid + "/stations", "timeZone": "America/New_York"},
	}
}

type nwsValue struct {
	ValidTime string `json:"validTime"`
	Value     any    `json:"value"`
}

// nwsLayer merges equal hours into one interval, as the service does.
func nwsLayer(s *weather.Series, from, to int, uom string, convert func(i int) float64) map[string]any {
	var values []nwsValue
	for i := from; i < to; {
		n := 1
		for i+n < to && convert(i+n) == convert(i) {
			n++
		}
		values = append(values, nwsValue{s.Time(i).Format("2006-01-02T15:04:05+00:00") + "/" + nwsDuration(n), convert(i)})
		i += n
	}
	return map[string]any{"uom": uom, "values": values}
}

func nwsDuration(hours int) string {
	switch days := hours / 24; {
	case days == 0:
		return fmt.Sprintf("PT%dH", hours)
	case hours%24 == 0:
		return fmt.Sprintf("P%dD", days)
	default:
		return fmt.Sprintf("P%dDT%dH", days, hours%24)
	}
}

// fahrenheitC is a temperature rounded to whole °F and written in °C.
func fahrenheitC(c float64) float64 { return (math.Round(c*1.8+32) - 32) / 1.8 }

func nwsGridpoint(s *weather.Series) map[string]any {
	from := s.Index(issued) - 4
	to := from + 183
	col := func(v weather.Variable) func(int) float64 { return func(i int) float64 { return s.At(v, i) } }
	rain := func(i int) float64 { // six-hour totals
		sum := 0.0
		for k := range 6 {
			sum += s.At(weather.PrecipitationMM, from+(i-from)/6*6+k)
		}
		return round(sum, 2)
	}
	qpf := []nwsValue{}
	for i := from; i+6 <= from+84; i += 6 {
		qpf = append(qpf, nwsValue{s.Time(i).Format("2006-01-02T15:04:05+00:00") + "/PT6H", rain(i)})
	}
	return map[string]any{
		"id": nwsGrid, "type": "Feature",
		"properties": map[string]any{
			"@type": "wx:Gridpoint", "updateTime": issued.Add(-70 * time.Minute).Format("2006-01-02T15:04:05+00:00"),
			"validTimes": s.Time(from).Format("2006-01-02T15:04:05+00:00") + "/P7DT15H",
			"elevation":  map[string]any{"unitCode": "wmoUnit:m", "value": 405.3}, "gridId": "ZZV", "gridX": "61", "gridY": "47",
			"temperature": nwsLayer(s, from, to, "wmoUnit:degC",
				func(i int) float64 { return fahrenheitC(s.At(weather.TemperatureC, i)) }),
			"dewpoint": nwsLayer(s, from, to-2, "wmoUnit:degC",
				func(i int) float64 { return fahrenheitC(s.At(weather.DewPointC, i)) }),
			"relativeHumidity": nwsLayer(s, from, to-2, "wmoUnit:percent", col(weather.RelativeHumidityPct)),
			"skyCover":         nwsLayer(s, from, to, "wmoUnit:percent", col(weather.CloudCoverPct)),
			"windSpeed": nwsLayer(s, from, to, "wmoUnit:km_h-1", func(i int) float64 {
				return round(math.Round(s.At(weather.WindSpeedMS, i)*3.6/1.852)*1.852, 3)
			}),
			"quantitativePrecipitation": map[string]any{"uom": "wmoUnit:mm", "values": qpf},
			"pressure":                  map[string]any{"values": []any{}},
		},
	}
}

func nwsStations() map[string]any {
	var features []map[string]any
	for _, id := range []string{"KZZA", "KZZB"} {
		features = append(features, map[string]any{"id": nwsRoot + "/stations/" + id, "type": "Feature",
			"properties": map[string]any{"stationIdentifier": id, "name": "Invented field " + id[3:], "timeZone": "America/New_York"}})
	}
	return map[string]any{"type": "FeatureCollection", "features": features}
}

// nwsObservations are a week of reports at six minutes to the hour, newest
// first, a few of them without values.
func nwsObservations(s *weather.Series) map[string]any {
	rng := rand.New(rand.NewPCG(seed, 11))
	quantity := func(unit string, x float64) map[string]any {
		if rng.Float64() < 0.01 {
			return map[string]any{"unitCode": unit, "value": nil, "qualityControl": "Z"}
		}
		return map[string]any{"unitCode": unit, "value": x, "qualityControl": "V"}
	}
	var features []map[string]any
	for i := s.Index(issued); i > s.Index(issued)-7*24; i-- {
		at := s.Time(i).Add(-6 * time.Minute)
		features = append(features, map[string]any{"type": "Feature", "properties": map[string]any{
			"timestamp":          at.Format("2006-01-02T15:04:05+00:00"),
			"temperature":        quantity("wmoUnit:degC", s.At(weather.TemperatureC, i)),
			"dewpoint":           quantity("wmoUnit:degC", s.At(weather.DewPointC, i)),
			"relativeHumidity":   quantity("wmoUnit:percent", s.At(weather.RelativeHumidityPct, i)),
			"windSpeed":          quantity("wmoUnit:km_h-1", round(s.At(weather.WindSpeedMS, i)*3.6, 2)),
			"barometricPressure": quantity("wmoUnit:Pa", math.Round(s.At(weather.SurfacePressureHPa, i)*100)),
		}})
	}
	return map[string]any{"type": "FeatureCollection", "features": features}
}
