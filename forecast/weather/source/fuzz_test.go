package source

import (
	"testing"

	"thawline/forecast/weather"
)

// seedWith adds a small whole body and broken ones: large ones make the fuzzer
// slow.
func seedWith(f *testing.F, body string) {
	f.Add([]byte(body))
	f.Add([]byte(body[:len(body)/2]))
	f.Add([]byte(`{}`))
	f.Add([]byte(`null`))
}

// sane fails on a course that no reader may return.
func sane(t *testing.T, s *weather.Series, err error) {
	if err == nil && (s.Hours() <= 0 || s.Hours() > 24*800) {
		t.Fatalf("%d hours", s.Hours())
	}
}

func FuzzReadOpenMeteo(f *testing.F) {
	seedWith(f, `{"utc_offset_seconds":-18000,"elevation":4,"hourly_units":{"temperature_2m":"°F","precipitation":"mm","temperature_2m_member01":"°F"},
		"hourly":{"time":["2026-03-20T21:00","2026-03-21T00:00"],"temperature_2m":[2.1,null],"precipitation":[0,3],"temperature_2m_member01":[1,2]}}`)
	f.Fuzz(func(t *testing.T, body []byte) {
		if a, err := readOpenMeteo(body); err == nil {
			sane(t, &a.Members[0], err)
		}
		if parts, err := openMeteoParts(body, 2); err == nil && len(parts) != 2 {
			t.Fatalf("%d places", len(parts))
		}
	})
}

func FuzzReadNWSGridpoint(f *testing.F) {
	seedWith(f, `{"properties":{"updateTime":"2026-03-20T20:00:00+00:00","elevation":{"value":3},"temperature":{"uom":"wmoUnit:degC","values":[
		{"validTime":"2026-03-20T20:00:00+00:00/PT3H","value":1},{"validTime":"2026-03-21T00:00:00+00:00/P1DT1H","value":null}]},"pressure":{"values":[]}}}`)
	f.Fuzz(func(t *testing.T, body []byte) {
		a, err := readNWSGridpoint(body)
		sane(t, &a.course, err)
	})
}

func FuzzReadMETNorway(f *testing.F) {
	seedWith(f, `{"geometry":{"coordinates":[-72,44,400]},"properties":{"meta":{"updated_at":"2026-03-20T19:00:00Z","units":{"air_temperature":"celsius"}},
		"timeseries":[{"time":"2026-03-20T18:00:00Z","data":{"instant":{"details":{"air_temperature":1,"air_pressure_at_sea_level":1000}},
		"next_6_hours":{"details":{"air_temperature_min":-3,"air_temperature_max":4,"precipitation_amount":2}}}},
		{"time":"2026-03-21T00:00:00Z","data":{"instant":{"details":{"air_temperature":2}}}}]}}`)
	f.Fuzz(func(t *testing.T, body []byte) {
		a, err := readMETNorway(body)
		sane(t, &a.course, err)
	})
}

func FuzzReadCityPage(f *testing.F) {
	seedWith(f, `{"type":"FeatureCollection","features":[{"geometry":{"coordinates":[-72,45]},"properties":{"name":{"en":"X"},"lastUpdated":"2026-03-20T20:40:00Z",
		"hourlyForecastGroup":{"hourlyForecasts":[{"timestamp":"2026-03-20T22:00:00Z","temperature":{"value":{"en":2},"units":{"en":"C"}},"wind":{"speed":{"value":"5-10"}}},
		{"timestamp":"2026-03-20T23:00:00Z","temperature":1}]},
		"forecastGroup":{"forecasts":[{"temperatures":{"temperature":[{"class":"low","value":-3}]}},{"temperatures":{"temperature":{"class":"high","value":5}}}]}}}]}`)
	f.Fuzz(func(t *testing.T, body []byte) {
		if page, err := readCityPage(body, bush); err == nil && page.name != "" {
			sane(t, &page.course, err)
		}
	})
}

// FuzzReadObserved: what stations said, and where they are.
func FuzzReadObserved(f *testing.F) {
	seedWith(f, `{"features":[{"geometry":{"coordinates":[-72,45]},"properties":{"stationIdentifier":"KMVL","timestamp":"2026-03-20T20:54:00+00:00","temperature":{"unitCode":"wmoUnit:degC","value":1.5,"qualityControl":"V"},"windSpeed":{"unitCode":"wmoUnit:km_h-1","value":7}}}]}`)
	seedWith(f, `{"features":[{"geometry":{"coordinates":[-72,45]},"properties":{"LOCAL_DATE":"2026-03-20 15:00:00","UTC_DATE":"2026-03-20T20:00:00","TEMP":1.5,"CLIMATE_IDENTIFIER":"7024254"}}]}`)
	f.Fuzz(func(t *testing.T, body []byte) {
		from, to := ask.Now.AddDate(0, 0, -7), ask.Now
		if s, err := readNWSObservations(body, from, to); err == nil {
			sane(t, &s, err)
		}
		if s, err := readClimateHourly(body, bush, from, to); err == nil {
			sane(t, &s, err)
		}
		_, _ = readNWSStations(body)
		_, _ = readNWSPoint(body)
	})
}

// fuzzWarnings looks for bodies that a reader of warnings falls over, or makes nonsense of.
func fuzzWarnings(f *testing.F, service string) {
	for _, s := range readings {
		if s.name != service {
			continue
		}
		seedWith(f, features(s.storm))
		f.Add([]byte(features(s.storm, changed(s.storm, s.update))))
		f.Fuzz(func(t *testing.T, body []byte) {
			list, err := s.read(body, s.place, warnNow)
			for _, w := range list {
				if err != nil || w.ID == "" || w.Event.In("en") == "" || w.To.Before(w.From) || !w.To.After(warnNow) {
					t.Fatalf("%q %v until %s: %v", w.ID, w.Event, w.To, err)
				}
			}
		})
	}
}

func FuzzReadNWSAlerts(f *testing.F) { fuzzWarnings(f, NWSName) }

func FuzzReadMetAlerts(f *testing.F) { fuzzWarnings(f, METNorwayName) }

func FuzzReadECAlerts(f *testing.F) { fuzzWarnings(f, EnvironmentCanadaName) }
