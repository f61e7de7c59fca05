package main

import (
	"time"

	"thawline/forecast/weather"
)

// metNorwayComplete has 55 hourly steps, then six-hourly ones for the rest of
// nine days.
func metNorwayComplete(s *weather.Series) map[string]any {
	var steps []map[string]any
	last := s.Index(issued) + 55 + 26*6
	for i := s.Index(issued); i <= last; {
		step, next := 1, i+1
		if i >= s.Index(issued)+54 {
			step, next = 6, i+6
		}
		t := s.At(weather.TemperatureC, i)
		data := map[string]any{"instant": map[string]any{"details": map[string]any{
			"air_temperature":           t,
			"air_pressure_at_sea_level": round(weather.PressureAtHeight(s.At(weather.SurfacePressureHPa, i), t, place.ElevationM, 0), 1),
			"cloud_area_fraction":       s.At(weather.CloudCoverPct, i), "dew_point_temperature": s.At(weather.DewPointC, i),
			"relative_humidity": s.At(weather.RelativeHumidityPct, i), "wind_speed": round(s.At(weather.WindSpeedMS, i), 1),
			"wind_from_direction": 270.0,
		}}}
		if next <= last {
			if step == 1 {
				data["next_1_hours"] = map[string]any{"summary": map[string]any{"symbol_code": "cloudy"},
					"details": map[string]any{"precipitation_amount": round(s.At(weather.PrecipitationMM, i), 1)}}
			}
			low, high, rain := t, t, 0.0
			for k := range 7 {
				x := s.At(weather.TemperatureC, i+k)
				low, high = min(low, x), max(high, x)
				if k < 6 {
					rain += s.At(weather.PrecipitationMM, i+k)
				}
			}
			data["next_6_hours"] = map[string]any{"summary": map[string]any{"symbol_code": "cloudy"}, "details": map[string]any{
				"air_temperature_max": high, "air_temperature_min": low, "precipitation_amount": round(rain, 1)}}
		}
		steps = append(steps, map[string]any{"time": s.Time(i).Format(time.RFC3339), "data": data})
		i = next
	}
	return map[string]any{
		"type": "Feature", "geometry": map[string]any{"type": "Point", "coordinates": []float64{-72.31, 44.62, 420}},
		"properties": map[string]any{
			"meta": map[string]any{"updated_at": issued.Add(-2 * time.Hour).Format(time.RFC3339), "units": map[string]string{
				"air_pressure_at_sea_level": "hPa", "air_temperature": "celsius", "air_temperature_max": "celsius",
				"air_temperature_min": "celsius",
				"cloud_area_fraction": "%", "dew_point_temperature": "celsius", "precipitation_amount": "mm", "relative_humidity": "%",
				"wind_from_direction": "degrees", "wind_speed": "m/s"}},
			"timeseries": steps,
		},
	}
}
