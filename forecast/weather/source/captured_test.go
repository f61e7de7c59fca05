package source

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// Captured bodies of the real services (see the folder's own README for their
// origin), read where they lie beside the checkout.

func TestCapturedNWSGridpoints(t *testing.T) {
	for file, want := range map[string]struct {
		first  time.Time
		firstC float64
		hours  int // of temperature, without a gap
	}{
		"nws/gridpoint-2022-02-03-unmodified.json": {time.Date(2022, 2, 3, 21, 0, 0, 0, time.UTC), 22.77777777777778, 182},
		"nws/gridpoint-ALY-71-67.json":             {time.Date(2024, 3, 12, 6, 0, 0, 0, time.UTC), math.NaN(), 181},
	} {
		a, err := readNWSGridpoint(sample(t, file))
		if err != nil {
			t.Fatal(err)
		}
		i := a.course.Index(want.first)
		if got := a.course.At(weather.TemperatureC, i); !math.IsNaN(want.firstC) && got != want.firstC {
			t.Errorf("%s: begins with %v °C", file, got)
		}
		n := 0
		for !math.IsNaN(a.course.At(weather.TemperatureC, i+n)) {
			n++
		}
		if n != want.hours || n != knownTemperatures(&a.course) {
			t.Errorf("%s: %d hours of temperature without a gap, %d in all", file, n, knownTemperatures(&a.course))
		}
		if a.course.Has(weather.SurfacePressureHPa) || a.course.Has(weather.ShortwaveWM2) {
			t.Errorf("%s: pressure or sunshine where the service has none", file)
		}
	}
	cell, err := readNWSPoint(sample(t, "nws/point-42.745,-73.752.json"))
	if err != nil || cell != (nwsCell{"ALY/71,67", "America/New_York"}) {
		t.Errorf("%+v: %v", cell, err)
	}
}

func TestCapturedNWSObservations(t *testing.T) {
	at := time.Date(2024, 3, 12, 14, 0, 0, 0, time.UTC)
	s, err := readNWSObservations(sample(t, "nws/observation-KALB.json"), at.Add(-3*time.Hour), at.Add(time.Hour))
	if err != nil || s.At(weather.TemperatureC, s.Index(at)) != 25 || s.Has(weather.SurfacePressureHPa) {
		t.Errorf("%.1f °C, pressure %v: %v", s.At(weather.TemperatureC, s.Index(at)), s.Has(weather.SurfacePressureHPa), err)
	}
	if s, err := readNWSObservations(sample(t, "nws/observation-missing-value.json"), at, at.Add(time.Hour)); err != nil ||
		s.Has(weather.TemperatureC) {
		t.Errorf("a report without values: %v", err)
	}
}

func TestCapturedMETNorway(t *testing.T) {
	for _, file := range []string{"metno/complete-51.5,-0.1.json", "metno/compact-40.7,-74.0.json"} {
		var wrapped struct {
			Data json.RawMessage `json:"data"`
		}
		if err := json.Unmarshal(sample(t, file), &wrapped); err != nil {
			t.Fatal(err)
		}
		a, err := readMETNorway(wrapped.Data)
		if err != nil {
			t.Fatal(err)
		}
		// 55 hourly steps, then 26 of six hours.
		if want := 55 + 26*6 + 1; a.course.Hours() != want || !a.course.Start().Equal(time.Date(2020, 7, 20, 11, 0, 0, 0, time.UTC)) {
			t.Errorf("%s: %d hours from %s, want %d", file, a.course.Hours(), a.course.Start(), want)
		}
		if n := knownTemperatures(&a.course); n < 55 {
			t.Errorf("%s: %d hours of temperature", file, n)
		}
	}
}

func TestCapturedOpenMeteoAcrossAClockChange(t *testing.T) {
	a, err := readOpenMeteo(sample(t, "open_meteo/toronto-2026-03-spans-clock-change.json"))
	if err != nil {
		t.Fatal(err)
	}
	s := a.Members[0]
	// Local midnight of 4 March at the one offset that the answer states, five
	// hours; 2026-03-08T02:00, which no clock showed, is an hour like any other.
	if !s.Start().Equal(time.Date(2026, 3, 4, 5, 0, 0, 0, time.UTC)) || s.Hours()%24 != 0 {
		t.Errorf("%d hours from %s", s.Hours(), s.Start())
	}
	if n := knownTemperatures(&s); n != s.Hours() {
		t.Errorf("%d of %d hours known", n, s.Hours())
	}
	if x := s.At(weather.TemperatureC, 10); x < -25 || x > 20 {
		t.Errorf("%.1f °C from °F", x)
	}
}

func TestCapturedOpenMeteoEnsemble(t *testing.T) {
	a, err := readOpenMeteo(sample(t, "open_meteo/ensemble-shape.json"))
	if err != nil || len(a.Members) != 21 {
		t.Fatalf("%d members: %v", len(a.Members), err)
	}
	if a.Members[0].At(weather.TemperatureC, 0) != 10.5 || a.Members[4].At(weather.TemperatureC, 0) != 11.4 ||
		a.Members[20].At(weather.TemperatureC, 1) != 10.8 {
		t.Error("members are out of order")
	}
	if p := readProblem(sample(t, "open_meteo/error-429.json")); !p.Failed || p.spentForLong() {
		t.Errorf("%+v", p)
	}
	if p := readProblem(sample(t, "nws/error-503-grid-expired.json")); !p.expired() {
		t.Errorf("%+v", p)
	}
}

func TestSixHourStepsReachTheirExtremes(t *testing.T) {
	body, err := json.Marshal(map[string]any{"properties": map[string]any{
		"meta": map[string]any{"updated_at": "2026-03-20T00:00:00Z"},
		"timeseries": []any{
			metTestStep("2026-03-20T00:00:00Z", 1, -4.5, 1.2), metTestStep("2026-03-20T06:00:00Z", -3, -3, 6),
			metTestStep("2026-03-20T12:00:00Z", 6, -2, 9), metTestStep("2026-03-20T18:00:00Z", 4, 0, 0),
		}}})
	if err != nil {
		t.Fatal(err)
	}
	a, err := readMETNorway(body)
	if err != nil {
		t.Fatal(err)
	}
	s := &a.course
	for _, c := range []struct{ from, low, high float64 }{{0, -4.5, 1.2}, {6, -3, 6}, {12, -2, 9}} {
		low, high := math.Inf(1), math.Inf(-1)
		for h := int(c.from); h <= int(c.from)+6; h++ {
			low, high = min(low, s.At(weather.TemperatureC, h)), max(high, s.At(weather.TemperatureC, h))
		}
		if math.Abs(low-c.low) > 0.01 || math.Abs(high-c.high) > 0.01 {
			t.Errorf("from %v h: %.2f to %.2f, stated %.2f to %.2f", c.from, low, high, c.low, c.high)
		}
	}
}

func metTestStep(at string, t, low, high float64) any {
	return map[string]any{"time": at, "data": map[string]any{
		"instant": map[string]any{"details": map[string]any{"air_temperature": t}},
		"next_6_hours": map[string]any{"details": map[string]any{"air_temperature_min": low, "air_temperature_max": high,
			"precipitation_amount": 3}},
	}}
}

// Lows and highs after the hourly part are met on the right days.
func TestCityPagePeriods(t *testing.T) {
	page, err := readCityPage([]byte(`{"type":"Feature","geometry":{"coordinates":[-75,45]},"properties":{"name":"X","hourlyForecastGroup":{"timestamp":"2026-03-20T21:00:00Z",
		"hourlyForecasts":[{"timestamp":"2026-03-20T22:00:00Z","temperature":{"value":{"en":2}}},{"timestamp":"2026-03-20T23:00:00Z","temperature":{"value":{"en":1}}}]},
		"forecastGroup":{"forecasts":[
		{"temperatures":{"temperature":[{"class":{"en":"low"},"value":{"en":-6}}]}},{"temperatures":{"temperature":{"class":"high","value":7}}},
		{"temperatures":{"temperature":[{"class":{"en":"low"},"value":{"en":-2}}]}},{"temperatures":{"temperature":[{"class":{"en":"high"},"value":{"en":9}}]}}]}}}`), bush)
	if err != nil {
		t.Fatal(err)
	}
	s := &page.course
	for at, want := range map[string]float64{"2026-03-21T10:00:00Z": -6, "2026-03-21T19:00:00Z": 7, "2026-03-22T10:00:00Z": -2,
		"2026-03-22T19:00:00Z": 9} {
		when, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.At(weather.TemperatureC, s.Index(when)); math.Abs(got-want) > 0.01 {
			t.Errorf("%s: %.2f °C, stated %.0f", at, got, want)
		}
	}
	if n := knownTemperatures(s); n != s.Hours() {
		t.Errorf("%d of %d hours known", n, s.Hours())
	}
}
