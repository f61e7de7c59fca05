package source

import (
	"strings"
	"testing"

	"thawline/testdata"
)

// A broken body: the demonstration's with one thing replaced, or another body.
type broken struct{ old, new, want string }

func checkBroken(t *testing.T, file string, read func([]byte) error, cases []broken) {
	t.Helper()
	whole, err := testdata.Files.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := read(whole); err != nil {
		t.Fatalf("the whole body: %v", err)
	}
	for _, c := range cases {
		body := c.new
		if c.old != "" {
			if body = strings.Replace(string(whole), c.old, c.new, 1); body == string(whole) {
				t.Fatalf("%s is not in %s", c.old, file)
			}
		}
		got := "nothing"
		if err := read([]byte(body)); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%.40q → %.40q\n got  %s\n want %s", c.old, c.new, got, c.want)
		}
	}
}

func TestBrokenOpenMeteo(t *testing.T) {
	checkBroken(t, "open_meteo/zone.json", func(b []byte) error { _, err := readOpenMeteo(b); return err }, []broken{
		{"", "", "open_meteo: can't be read: the answer is empty"},
		{"", `{"hourly":{"time":[17740`, "open_meteo: can't be read: the answer breaks off after 24 bytes"},
		{"", `{"hourly" [}`, "open_meteo: can't be read: not JSON from byte 11 on"},
		{"", `[]`, "open_meteo: can't be read: the answer is a list, where something else belongs"},
		{"", `{}`, "open_meteo: can't be read: hourly is missing"},
		{"", `{"hourly":{}}`, "open_meteo: can't be read: hourly.time is missing"},
		{`"time":[1774040400,1774044000]`, `"time":[1774040400]`, "open_meteo: can't be read: hourly.time holds 1 times"},
		{`"time":[1774040400,1774044000]`, `"time":[1774040400,1774040400]`,
			"open_meteo: can't be read: hourly.time goes in steps of 0 s, not of one to six hours"},
		{`"time":[1774040400,1774044000]`, `"time":[1774040460,1774044060]`,
			"open_meteo: can't be read: hourly.time begins at 2026-03-20T21:01:00Z, not on the hour"},
		{`"time":[1774040400,1774044000]`, `"time":[1774040400,1774044000,1774054800]`,
			"open_meteo: can't be read: hourly.time jumps after 2026-03-20T22:00:00Z"},
		{`"time":[1774040400,1774044000]`, `"time":["2026-03-20T21:00","tomorrow"]`,
			`open_meteo: can't be read: hourly.time holds "tomorrow"`},
		{`"time":[1774040400,1774044000]`, `"time":[true]`, "open_meteo: can't be read: hourly.time holds neither seconds nor dates"},
		{`"temperature_2m":"°C"`, `"temperature_2m":"K"`,
			`open_meteo: can't be read: hourly_units.temperature_2m is "K", which is not known here`},
		{`"temperature_2m":"°C"`, `"t":"°C"`, `open_meteo: can't be read: hourly_units.temperature_2m is "", which is not known here`},
		{`[2.1,1.8]`, `[2.1]`, "open_meteo: can't be read: hourly.temperature_2m has 1 values for 2 times"},
		{`[2.1,1.8]`, `[2.1,"mild"]`, "open_meteo: can't be read: hourly.temperature_2m holds something that is not a number"},
		{`[2.1,1.8]`, `[null,null]`, "open_meteo: can't be read: hourly.temperature_2m holds no value"},
	})
}

func TestBrokenNWS(t *testing.T) {
	layer := func(uom, times string) string {
		return `{"properties":{"updateTime":"2026-03-20T20:00:00+00:00","temperature":{"uom":"` + uom + `","values":[` + times + `]}}}`
	}
	one := func(at string) string { return `{"validTime":"` + at + `","value":1}` }
	const unread = "nws: can't be read: "
	checkBroken(t, "nws/gridpoint.json", func(b []byte) error { _, err := readNWSGridpoint(b); return err }, []broken{
		{"", " ", unread + "the answer is empty"},
		{"", `{"properties":{"temp`, unread + "the answer breaks off after 20 bytes"},
		{"", `{"properties":[]}`, unread + "properties is a list, where something else belongs"},
		{"", `{"properties":{}}`, unread + "properties.updateTime is missing"},
		{"", `{"properties":{"updateTime":"soon"}}`, unread + `properties.updateTime is "soon"`},
		{"", `{"properties":{"updateTime":"2026-03-20T20:00:00+00:00"}}`, unread + "the layer temperature holds no value"},
		{"", layer("wmoUnit:degC", ""), unread + "the layer temperature holds no value"},
		{"", layer("wmoUnit:K", one("2026-03-20T20:00:00+00:00/PT1H")),
			unread + `the layer temperature has the unit "wmoUnit:K", which is not known here`},
		{"", layer("wmoUnit:degC", one("2026-03-20T20:00:00+00:00")),
			unread + `temperature.values[0] has the time "2026-03-20T20:00:00+00:00": no duration`},
		{"", layer("wmoUnit:degC", one("today/PT1H")), unread + `temperature.values[0] has the time "today/PT1H": no moment`},
		{"", layer("wmoUnit:degC", one("2026-03-20T20:30:00+00:00/PT1H")),
			unread + `temperature.values[0] has the time "2026-03-20T20:30:00+00:00/PT1H": not on the hour`},
		{"", layer("wmoUnit:degC", one("2026-03-20T20:00:00+00:00/PT0H")),
			unread + `temperature.values[0] has the time "2026-03-20T20:00:00+00:00/PT0H": shorter than an hour`},
		{"", layer("wmoUnit:degC", one("2026-03-20T20:00:00+00:00/P40D")),
			unread + `temperature.values[0] has the time "2026-03-20T20:00:00+00:00/P40D": longer than fifteen days`},
		{"", layer("wmoUnit:degC", one("2026-03-20T20:00:00+00:00/PT3H")+","+one("2026-03-20T21:00:00+00:00/PT1H")),
			unread + "temperature.values[1] begins before the one before it ends"},
		{"", layer("wmoUnit:degC", one("2026-03-20T20:00:00+00:00/PT3H")+","+one("2028-03-20T21:00:00+00:00/PT1H")),
			unread + "the layer temperature spans 17546 hours"},
		{"", `{"properties":{"updateTime":"2026-03-20T20:00:00+00:00","temperature":[]}}`,
			unread + "the layer temperature is not a list of values"},
	})
	checkBroken(t, "nws/point.json", func(b []byte) error { _, err := readNWSPoint(b); return err }, []broken{
		{`"gridId":"ZZV"`, `"gridId":""`, unread + "the point has no gridId, gridX and gridY"},
		{`"gridX":61`, `"gridX":6.1`, unread + "the point has no gridId, gridX and gridY"},
		{`"gridX":61`, `"gridX":"../61"`, unread + "invalid number literal, trying to unmarshal \"\\\"../61\\\"\" into Number"},
	})
	checkBroken(t, "nws/observations.json",
		func(b []byte) error { _, err := readNWSObservations(b, ask.Now.AddDate(0, 0, -6), ask.Now); return err }, []broken{
			{`"temperature":{"qualityControl":"V","unitCode":"wmoUnit:degC"`, `"temperature":{"qualityControl":"V","unitCode":"wmoUnit:R"`,
				unread + `temperature of 2026-03-20T20:54:00Z has the unit "wmoUnit:R", which is not known here`},
			{"", `{"features":{}}`, unread + "features is an object, where something else belongs"},
		})
}

func TestBrokenMETNorway(t *testing.T) {
	const unread = "met_norway: can't be read: "
	checkBroken(t, "met_norway/complete.json", func(b []byte) error { _, err := readMETNorway(b); return err }, []broken{
		{"", "", unread + "the answer is empty"},
		{"", `{"properties":{"meta":{`, unread + "the answer breaks off after 23 bytes"},
		{"", `{"properties":7}`, unread + "properties is a number, where something else belongs"},
		{"", `{}`, unread + "properties.meta.updated_at is missing"},
		{"", `{"properties":{"meta":{"updated_at":"2026-03-20T19:00:00Z"},"timeseries":[]}}`,
			unread + "properties.timeseries holds 0 steps"},
		{`"air_temperature":"celsius"`, `"air_temperature":"fahrenheit"`,
			unread + `the unit of air_temperature is "fahrenheit", not "celsius"`},
		{`"wind_speed":"m/s"`, `"wind_speed":"knots"`, unread + `the unit of wind_speed is "knots", not "m/s"`},
		{`"time":"2026-03-20T23:00:00Z"`, `"time":"2026-03-20T23:20:00Z"`,
			unread + "timeseries[2] is at 2026-03-20T23:20:00Z, not on the hour"},
		{`"time":"2026-03-20T23:00:00Z"`, `"time":"2026-03-20T20:00:00Z"`,
			unread + "timeseries[2] follows the one before it after -2h0m0s"},
		{`"time":"2026-03-20T23:00:00Z"`, `"time":"2026-03-25T20:00:00Z"`,
			unread + "timeseries[2] follows the one before it after 118h0m0s"},
		{`"time":"2026-03-20T23:00:00Z"`, `"time":"late"`, unread + "late is no moment"},
		{"", `{"properties":{"meta":{"updated_at":"2026-03-20T19:00:00Z"},"timeseries":[{"time":"2026-03-20T19:00:00Z"},{"time":"2026-03-20T20:00:00Z"}]}}`,
			unread + "no step holds an air_temperature"},
	})
}

func TestBrokenEnvironmentCanada(t *testing.T) {
	const unread = "environment_canada: can't be read: "
	hours := func(first string) string {
		return `{"type":"Feature","properties":{"lastUpdated":"2026-03-20T20:40:00Z","hourlyForecastGroup":{"hourlyForecasts":[` +
			`{"timestamp":"2026-03-20T22:00:00Z",` + first + `},{"timestamp":"2026-03-20T23:00:00Z"}]}}}`
	}
	checkBroken(t, "environment_canada/city-page.json", func(b []byte) error { _, err := readCityPage(b, bush); return err }, []broken{
		{"", "", unread + "the answer is empty"},
		{"", `{"features":[`, unread + "the answer breaks off after 13 bytes"},
		{"", `{"type":"Topology"}`, unread + "neither a Feature nor a FeatureCollection"},
		{"", `{"features":"none"}`, unread + "features is a text, where something else belongs"},
		{"", `{"type":"Feature","properties":{}}`, unread + "neither hourlyForecastGroup.timestamp nor lastUpdated is a moment"},
		{"", `{"type":"Feature","properties":{"lastUpdated":"2026-03-20T20:40:00Z"}}`,
			unread + "hourlyForecastGroup.hourlyForecasts holds 0 hours"},
		{`"timestamp":"2026-03-20T22:00:00Z"`, `"timestamp":"10 pm"`, unread + `hourlyForecasts[0].timestamp is "10 pm"`},
		{`"timestamp":"2026-03-21T01:00:00Z"`, `"timestamp":null`, unread + `hourlyForecasts[3].timestamp is ""`},
		{"", hours(`"temperature":{"units":{"en":"F"},"value":{"en":36}}`),
			unread + `hourlyForecasts[0].temperature has the unit "F", not C`},
		{"", hours(`"temperature":{"value":2},"wind":{"speed":{"units":"kn","value":5}}`),
			unread + `hourlyForecasts[0].wind.speed has the unit "kn", not km/h`},
		{`"temperature":[{"class"`, `"temperature":["mild",{"class"`,
			unread + "forecasts[0].temperatures.temperature is no low and no high"},
		{"", `{"type":"Feature","properties":{"lastUpdated":"2026-03-20T20:40:00Z","hourlyForecastGroup":{"hourlyForecasts":[{"timestamp":"2026-03-20T22:00:00Z"},{"timestamp":"2026-03-20T23:00:00Z"}]}}}`,
			unread + "hourlyForecasts holds no temperature"},
	})
	checkBroken(t, "environment_canada/climate-hourly.json", func(b []byte) error {
		_, err := readClimateHourly(b, bush, ask.Now.AddDate(0, 0, -6), ask.Now)
		return err
	}, []broken{
		{"", `{"features":[]}`, unread + "no station near the place reported temperatures"},
		{`"UTC_DATE":"2026-03-13T21:00:00"`, `"UTC_DATE":"13 March"`, unread + `features[0].properties.UTC_DATE is "13 March"`},
	})
}
