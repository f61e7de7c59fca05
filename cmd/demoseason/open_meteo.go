package main

import (
	"fmt"
	"math"

	"thawline/forecast/weather"
)

var openMeteoNames = []struct {
	name, unit string
	variable   weather.Variable
	preceding  bool // the value belongs to the hour before it
	digits     int
}{
	{"temperature_2m", "°C", weather.TemperatureC, false, 1},
	{"dew_point_2m", "°C", weather.DewPointC, false, 1},
	{"relative_humidity_2m", "%", weather.RelativeHumidityPct, false, 0},
	{"surface_pressure", "hPa", weather.SurfacePressureHPa, false, 1},
	{"shortwave_radiation", "W/m²", weather.ShortwaveWM2, true, 0},
	{"cloud_cover", "%", weather.CloudCoverPct, false, 0},
	{"wind_speed_10m", "m/s", weather.WindSpeedMS, false, 2},
	{"precipitation", "mm", weather.PrecipitationMM, true, 1},
	{"snow_depth", "m", weather.SnowDepthM, false, 2},
}

func openMeteoFrame() map[string]any {
	return map[string]any{"latitude": 44.625, "longitude": -72.3125, "generationtime_ms": 0.42, "utc_offset_seconds": 0,
		"timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": place.ElevationM}
}

// openMeteoHours writes hours from..to of a series as hourly columns.
func openMeteoHours(s *weather.Series, from, to int) map[string]any {
	units, hourly := map[string]any{"time": "unixtime"}, map[string]any{}
	var times []int64
	for i := from; i < to; i++ {
		times = append(times, s.Time(i).Unix())
	}
	hourly["time"] = times
	for _, n := range openMeteoNames {
		units[n.name] = n.unit
		col := make([]any, 0, to-from)
		for i := from; i < to; i++ {
			at := i
			if n.preceding {
				at--
			}
			col = append(col, value(s.At(n.variable, at), n.digits))
		}
		hourly[n.name] = col
	}
	body := openMeteoFrame()
	body["hourly_units"], body["hourly"] = units, hourly
	return body
}

func openMeteoForecast(s *weather.Series) map[string]any {
	day := s.Index(issued.Truncate(24 * 3600e9))
	return openMeteoHours(s, day-14*24, day+16*24)
}

func openMeteoArchive(s *weather.Series) map[string]any {
	day := s.Index(issued.Truncate(24 * 3600e9))
	return openMeteoHours(s, day-7*24, day)
}

func openMeteoZone() map[string]any {
	body := openMeteoFrame()
	body["timezone"], body["timezone_abbreviation"], body["utc_offset_seconds"] = "America/New_York", "GMT-4", -14400
	body["hourly_units"] = map[string]any{"time": "unixtime", "temperature_2m": "°C"}
	body["hourly"] = map[string]any{"time": []int64{issued.Unix(), issued.Unix() + 3600}, "temperature_2m": []float64{2.1, 1.8}}
	return body
}

// openMeteoEnsemble has a control and fifty members every three hours.
func openMeteoEnsemble(s *weather.Series) map[string]any {
	start := issued.Truncate(24 * 3600e9)
	control := s.Between(start, start.AddDate(0, 0, 15))
	members := weather.ErrorMembers(&control, place, issued, 51, seed+9)
	units, hourly := map[string]any{"time": "unixtime"}, map[string]any{}
	var times []int64
	for i := 0; i < control.Hours(); i += 3 {
		times = append(times, control.Time(i).Unix())
	}
	hourly["time"] = times
	for m := range members {
		suffix := ""
		if m > 0 {
			suffix = fmt.Sprintf("_member%02d", m)
		}
		for _, n := range openMeteoNames {
			if n.variable != weather.TemperatureC && n.variable != weather.ShortwaveWM2 && n.variable != weather.WindSpeedMS {
				continue
			}
			units[n.name+suffix] = n.unit
			col := make([]any, 0, len(times))
			for i := 0; i < control.Hours(); i += 3 {
				x := members[m].At(n.variable, i)
				if n.preceding { // mean of the three hours before
					x = (members[m].At(n.variable, i-1) + members[m].At(n.variable, i-2) + members[m].At(n.variable, i-3)) / 3
				}
				if n.variable == weather.ShortwaveWM2 {
					x = math.Round(x)
				}
				col = append(col, value(x, 1))
			}
			hourly[n.name+suffix] = col
		}
	}
	body := openMeteoFrame()
	body["hourly_units"], body["hourly"] = units, hourly
	return body
}
