package source

import (
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// omColumn is how one of Open-Meteo's variables becomes one of ours. A
// preceding value at T covers the hours before T, ours the hour after it.
type omColumn struct {
	variable  weather.Variable
	preceding bool
	sum       bool // spread over several hours, not repeated
	units     map[string]float64
}

var (
	omDegrees = map[string]float64{"°C": 1, "°F": 0} // 0: not a factor
	omColumns = map[string]omColumn{
		"temperature_2m":       {variable: weather.TemperatureC, units: omDegrees},
		"dew_point_2m":         {variable: weather.DewPointC, units: omDegrees},
		"relative_humidity_2m": {variable: weather.RelativeHumidityPct, units: map[string]float64{"%": 1}},
		"surface_pressure":     {variable: weather.SurfacePressureHPa, units: map[string]float64{"hPa": 1}},
		"shortwave_radiation":  {variable: weather.ShortwaveWM2, preceding: true, units: map[string]float64{"W/m²": 1}},
		"cloud_cover":          {variable: weather.CloudCoverPct, units: map[string]float64{"%": 1}},
		"wind_speed_10m": {variable: weather.WindSpeedMS,
			units: map[string]float64{"m/s": 1, "km/h": 1 / 3.6, "mp/h": 0.44704, "kn": 1.852 / 3.6}},
		"precipitation": {variable: weather.PrecipitationMM, preceding: true, sum: true,
			units: map[string]float64{"mm": 1, "inch": 25.4}},
		"snow_depth": {variable: weather.SnowDepthM, units: map[string]float64{"m": 1, "ft": 0.3048}},
	}
	omMember = regexp.MustCompile(`^(.+?)_member(\d+)$`)
)

// readOpenMeteo reads a forecast, ensemble or archive answer: one hourly block
// in UTC or at one fixed offset from it, whatever clocks do in between. Members are all its
// courses, the control, or only one, first.
func readOpenMeteo(body []byte) (weather.Bulletin, error) {
	var raw struct {
		OffsetS   int                        `json:"utc_offset_seconds"`
		Zone      string                     `json:"timezone"`
		Elevation *float64                   `json:"elevation"`
		Units     map[string]string          `json:"hourly_units"`
		Hourly    map[string]json.RawMessage `json:"hourly"`
	}
	if err := decodeJSON(OpenMeteoName, body, &raw); err != nil {
		return weather.Bulletin{}, err
	}
	if raw.Hourly == nil {
		return weather.Bulletin{}, unreadable(OpenMeteoName, "hourly is missing")
	}
	start, hours, step, err := omTimes(raw.Hourly["time"], raw.OffsetS)
	if err != nil {
		return weather.Bulletin{}, err
	}
	b := weather.Bulletin{Source: OpenMeteoName, ElevationM: math.NaN(), ZoneName: raw.Zone}
	if raw.Elevation != nil {
		b.ElevationM = *raw.Elevation
	}
	if b.ZoneName == "GMT" || b.ZoneName == "UTC" {
		b.ZoneName = ""
	}

	// Members in the order of their numbers, the control (no suffix) first.
	numbers := []string{""}
	for key := range raw.Hourly {
		if m := omMember.FindStringSubmatch(key); m != nil && !slices.Contains(numbers, m[2]) {
			numbers = append(numbers, m[2])
		}
	}
	slices.SortFunc(numbers, func(a, b string) int { return strings.Compare(pad(a), pad(b)) })
	for _, number := range numbers {
		s := weather.NewSeries(start, hours)
		for name, column := range omColumns {
			key := name
			if number != "" {
				key += "_member" + number
			}
			if data, found := raw.Hourly[key]; found {
				if err := omFill(&s, key, column, data, raw.Units[key], step); err != nil {
					return weather.Bulletin{}, err
				}
			}
		}
		if !s.Has(weather.TemperatureC) {
			if number == "" && len(numbers) > 1 {
				continue
			}
			return weather.Bulletin{}, unreadable(OpenMeteoName, "hourly.temperature_2m holds no value")
		}
		b.Members = append(b.Members, s)
	}
	return b, nil
}

func pad(number string) string { return strings.Repeat("0", max(4-len(number), 0)) + number }

const omMostHours = 24 * 400

// omTimes reads the time column and finds its step in hours.
func omTimes(data json.RawMessage, offsetS int) (start time.Time, hours, step int, err error) {
	fail := func(format string, args ...any) (time.Time, int, int, error) {
		return time.Time{}, 0, 0, unreadable(OpenMeteoName, format, args...)
	}
	if data == nil {
		return fail("hourly.time is missing")
	}
	var unix []int64
	if json.Unmarshal(data, &unix) != nil {
		var text []string
		if json.Unmarshal(data, &text) != nil {
			return fail("hourly.time holds neither seconds nor dates")
		}
		unix = unix[:0]
		for _, t := range text {
			at, err := time.Parse("2006-01-02T15:04", t)
			if err != nil {
				return fail("hourly.time holds %q", t)
			}
			unix = append(unix, at.Unix()-int64(offsetS))
		}
	}
	if len(unix) < 2 {
		return fail("hourly.time holds %d times", len(unix))
	}
	gap := unix[1] - unix[0]
	if gap < 3600 || gap > 6*3600 || gap%3600 != 0 {
		return fail("hourly.time goes in steps of %d s, not of one to six hours", gap)
	}
	if unix[0]%3600 != 0 {
		return fail("hourly.time begins at %s, not on the hour", time.Unix(unix[0], 0).UTC().Format(time.RFC3339))
	}
	for i := range unix {
		if unix[i] != unix[0]+int64(i)*gap {
			return fail("hourly.time jumps after %s", time.Unix(unix[i-1], 0).UTC().Format(time.RFC3339))
		}
	}
	step = int(gap / 3600)
	if len(unix)*step > omMostHours {
		return fail("hourly.time holds %d hours", len(unix)*step)
	}
	return time.Unix(unix[0], 0).UTC(), (len(unix)-1)*step + 1, step, nil
}

// omFill puts one column into the series.
func omFill(s *weather.Series, key string, c omColumn, data json.RawMessage, unit string, step int) error {
	factor, known := c.units[unit]
	if !known {
		return unreadable(OpenMeteoName, "hourly_units.%s is %q, which is not known here", key, unit)
	}
	var values []*float64
	if err := json.Unmarshal(data, &values); err != nil {
		return unreadable(OpenMeteoName, "hourly.%s holds something that is not a number", key)
	}
	if want := (s.Hours()-1)/step + 1; len(values) != want {
		return unreadable(OpenMeteoName, "hourly.%s has %d values for %d times", key, len(values), want)
	}
	col := s.Col(c.variable)
	for i, v := range values {
		if v == nil {
			continue
		}
		x := *v * factor
		if factor == 0 {
			x = (*v - 32) / 1.8
		}
		if !c.preceding {
			col[i*step] = x
			continue
		}
		if c.sum {
			x /= float64(step)
		}
		for h := max(i*step-step, 0); h < i*step; h++ {
			col[h] = x
		}
	}
	return nil
}
