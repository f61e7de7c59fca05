package main

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/weather"
)

func both(x any) map[string]any { return map[string]any{"en": x, "fr": x} }

func measured(x any, unit string) map[string]any {
	return map[string]any{"value": both(x), "units": both(unit), "unitType": both("metric")}
}

// cityPage is the page of an invented town across the border: a day of whole
// degrees by the hour, then the lows of nights and highs of days.
func cityPage(s *weather.Series) map[string]any {
	var hourly, periods []map[string]any
	now := s.Index(issued)
	for i := now + 1; i <= now+24; i++ {
		hourly = append(hourly, map[string]any{
			"timestamp": s.Time(i).Format(time.RFC3339), "temperature": measured(math.Round(s.At(weather.TemperatureC, i)), "C"),
			"lop": measured(0, "%"), "condition": both("Clear"), "iconCode": map[string]any{"format": "png", "value": 30},
			"wind": map[string]any{"speed": measured(math.Round(s.At(weather.WindSpeedMS, i)*3.6), "km/h"), "direction": both("W")},
		})
	}
	zone := time.FixedZone("", -4*3600)
	for k := range 12 { // the coming night first, then day and night in turn
		from, to, class, bas := 17, 32, "low", "bas"
		if k%2 == 1 {
			from, to, class, bas = 31, 43, "high", "haut"
		}
		day := time.Date(2026, 3, 20+k/2, 0, 0, 0, 0, zone)
		extreme := math.NaN()
		for h := from; h < to; h++ {
			t := s.At(weather.TemperatureC, s.Index(day.Add(time.Duration(h)*time.Hour)))
			if math.IsNaN(extreme) || (class == "low") == (t < extreme) {
				extreme = t
			}
		}
		name := day.AddDate(0, 0, k%2).Weekday().String()
		if class == "low" {
			name = day.Weekday().String() + " night"
		}
		short := name
		if k == 0 {
			short = "Tonight"
		}
		periods = append(periods, map[string]any{
			"period": map[string]any{"textForecastName": both(short), "value": both(name)},
			"temperatures": map[string]any{"temperature": []any{map[string]any{"class": map[string]any{"en": class, "fr": bas},
				"value": both(math.Round(extreme)), "units": both("C")}}},
		})
	}
	stamp := issued.Add(-20 * time.Minute).Format(time.RFC3339)
	return map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{
		"id": "qc-999", "type": "Feature", "geometry": map[string]any{"type": "Point", "coordinates": []float64{-72.2, 45.05}},
		"properties": map[string]any{
			"identifier": "qc-999", "name": both("Val-Inventé"), "region": both("Cantons"), "lastUpdated": stamp,
			"currentConditions": map[string]any{"timestamp": both(s.Time(now).Format(time.RFC3339)),
				"temperature": measured(s.At(weather.TemperatureC, now), "C"), "dewpoint": measured(s.At(weather.DewPointC, now), "C"),
				"pressure":         measured(101.6, "kPa"),
				"relativeHumidity": measured(s.At(weather.RelativeHumidityPct, now), "%"),
				"wind":             map[string]any{"speed": measured(math.Round(s.At(weather.WindSpeedMS, now)*3.6), "km/h")}},
			"hourlyForecastGroup": map[string]any{"timestamp": both(stamp), "hourlyForecasts": hourly},
			"forecastGroup":       map[string]any{"timestamp": both(stamp), "forecasts": periods},
		},
	}}}
}

func climateHourly(s *weather.Series) map[string]any {
	var features []map[string]any
	for i := s.Index(issued) - 7*24; i < s.Index(issued); i++ {
		features = append(features, map[string]any{
			"type": "Feature", "id": fmt.Sprintf("9999999.%d", i),
			"geometry": map[string]any{"type": "Point", "coordinates": []float64{-72.21, 45.06}},
			"properties": map[string]any{
				"STATION_NAME": "VAL-INVENTE", "CLIMATE_IDENTIFIER": "9999999", "UTC_DATE": s.Time(i).Format("2006-01-02T15:04:05"),
				"TEMP": s.At(weather.TemperatureC, i), "TEMP_FLAG": nil, "DEW_POINT_TEMP": s.At(weather.DewPointC, i),
				"DEW_POINT_TEMP_FLAG": nil,
				"RELATIVE_HUMIDITY":   s.At(weather.RelativeHumidityPct, i), "RELATIVE_HUMIDITY_FLAG": nil,
				"PRECIP_AMOUNT": s.At(weather.PrecipitationMM, i), "PRECIP_AMOUNT_FLAG": nil,
				"WIND_SPEED": math.Round(s.At(weather.WindSpeedMS, i) * 3.6), "WIND_SPEED_FLAG": nil,
				"STATION_PRESSURE": round(s.At(weather.SurfacePressureHPa, i)/10, 2), "STATION_PRESSURE_FLAG": nil,
			},
		})
	}
	return map[string]any{"type": "FeatureCollection", "features": features, "numberMatched": len(features),
		"numberReturned": len(features)}
}
