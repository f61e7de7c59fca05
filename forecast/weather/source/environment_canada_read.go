package source

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// ecScalar is a value as the service writes it: plain, in two languages
// ({"en", "fr"}), or with its units around it ({"value", "units"}).
type ecScalar struct{ text, unit string }

func (s *ecScalar) UnmarshalJSON(data []byte) error {
	*s = ecScalar{}
	data = bytes.TrimSpace(data)
	if len(data) == 0 || string(data) == "null" {
		return nil
	}
	switch data[0] {
	case '{':
		var o struct {
			En    json.RawMessage `json:"en"`
			Fr    json.RawMessage `json:"fr"`
			Value json.RawMessage `json:"value"`
			Units *ecScalar       `json:"units"`
		}
		if err := json.Unmarshal(data, &o); err != nil {
			return err
		}
		if o.Units != nil {
			s.unit = o.Units.text
		}
		for _, inner := range []json.RawMessage{o.Value, o.En, o.Fr} {
			if inner != nil && string(inner) != "null" {
				unit := s.unit
				err := s.UnmarshalJSON(inner)
				if s.unit == "" {
					s.unit = unit
				}
				return err
			}
		}
		return nil
	case '"':
		return json.Unmarshal(data, &s.text)
	case '[':
		return nil
	}
	s.text = string(data)
	return nil
}

// number is NaN where there is none; "calm" is 0, a range its middle.
func (s *ecScalar) number() float64 {
	text := strings.TrimSpace(s.text)
	if x, err := strconv.ParseFloat(text, 64); err == nil && !math.IsInf(x, 0) {
		return x
	}
	if strings.EqualFold(text, "calm") || strings.EqualFold(text, "calme") {
		return 0
	}
	if low, high, found := strings.Cut(text, "-"); found && low != "" {
		a, err1 := strconv.ParseFloat(strings.TrimSpace(low), 64)
		b, err2 := strconv.ParseFloat(strings.TrimSpace(high), 64)
		if err1 == nil && err2 == nil {
			return (a + b) / 2
		}
	}
	return math.NaN()
}

func (s *ecScalar) moment() (time.Time, bool) {
	t, err := time.Parse(time.RFC3339, s.text)
	return t.UTC(), err == nil
}

type ecProperties struct {
	Name    ecScalar `json:"name"`
	Updated ecScalar `json:"lastUpdated"`
	Now     struct {
		Stamp       ecScalar `json:"timestamp"`
		Temperature ecScalar `json:"temperature"`
		DewPoint    ecScalar `json:"dewpoint"`
	} `json:"currentConditions"`
	Hourly struct {
		Stamp ecScalar `json:"timestamp"`
		Hours []struct {
			Stamp       ecScalar `json:"timestamp"`
			Temperature ecScalar `json:"temperature"`
			Wind        struct {
				Speed ecScalar `json:"speed"`
			} `json:"wind"`
		} `json:"hourlyForecasts"`
	} `json:"hourlyForecastGroup"`
	Periods struct {
		Forecasts []struct {
			Temperatures struct {
				Temperature json.RawMessage `json:"temperature"`
			} `json:"temperatures"`
		} `json:"forecasts"`
	} `json:"forecastGroup"`
}

type ecFeature struct {
	Geometry struct {
		Coordinates []float64 `json:"coordinates"`
	} `json:"geometry"`
	Properties ecProperties `json:"properties"`
}

type ecPage struct {
	name   string // "" if the answer holds no city
	issued time.Time
	course weather.Series
}

// readCityPage reads the nearest city of a page or a collection of pages.
func readCityPage(body []byte, place weather.Place) (ecPage, error) {
	var raw struct {
		Type     string       `json:"type"`
		Features *[]ecFeature `json:"features"`
		ecFeature
	}
	if err := decodeJSON(EnvironmentCanadaName, body, &raw); err != nil {
		return ecPage{}, err
	}
	city := &raw.ecFeature
	switch {
	case raw.Features != nil && len(*raw.Features) == 0:
		return ecPage{}, nil
	case raw.Features != nil:
		all := *raw.Features
		city = &all[0]
		for i := range all {
			if ecDistance(place, all[i].Geometry.Coordinates) < ecDistance(place, city.Geometry.Coordinates) {
				city = &all[i]
			}
		}
	case raw.Type != "Feature":
		return ecPage{}, unreadable(EnvironmentCanadaName, "neither a Feature nor a FeatureCollection")
	}
	p := &city.Properties
	page := ecPage{name: p.Name.text}
	if page.name == "" {
		page.name = "an unnamed place"
	}
	var ok bool
	if page.issued, ok = p.Hourly.Stamp.moment(); !ok {
		if page.issued, ok = p.Updated.moment(); !ok {
			return ecPage{}, unreadable(EnvironmentCanadaName, "neither hourlyForecastGroup.timestamp nor lastUpdated is a moment")
		}
	}
	if err := ecHours(p, &page); err != nil {
		return ecPage{}, err
	}
	return page, ecPeriods(p, &page, city.Geometry.Coordinates)
}

const ecMostHours = 100

func ecHours(p *ecProperties, page *ecPage) error {
	hours := p.Hourly.Hours
	if len(hours) < 2 || len(hours) > ecMostHours {
		return unreadable(EnvironmentCanadaName, "hourlyForecastGroup.hourlyForecasts holds %d hours", len(hours))
	}
	first, ok := hours[0].Stamp.moment()
	if !ok {
		return unreadable(EnvironmentCanadaName, "hourlyForecasts[0].timestamp is %q", hours[0].Stamp.text)
	}
	start := first
	if at, ok := p.Now.Stamp.moment(); ok && at.Before(first) && first.Sub(at) < 12*time.Hour {
		start = at.Truncate(time.Hour)
	}
	page.course = weather.NewSeries(start, int(first.Sub(start).Hours())+len(hours)+8*24)
	for i := range hours {
		h := &hours[i]
		at, ok := h.Stamp.moment()
		if !ok {
			return unreadable(EnvironmentCanadaName, "hourlyForecasts[%d].timestamp is %q", i, h.Stamp.text)
		}
		if u := h.Temperature.unit; u != "" && u != "C" {
			return unreadable(EnvironmentCanadaName, "hourlyForecasts[%d].temperature has the unit %q, not C", i, u)
		}
		if u := h.Wind.Speed.unit; u != "" && u != "km/h" {
			return unreadable(EnvironmentCanadaName, "hourlyForecasts[%d].wind.speed has the unit %q, not km/h", i, u)
		}
		page.course.Set(weather.TemperatureC, at, h.Temperature.number())
		page.course.Set(weather.WindSpeedMS, at, h.Wind.Speed.number()/3.6)
	}
	if !page.course.Has(weather.TemperatureC) {
		return unreadable(EnvironmentCanadaName, "hourlyForecasts holds no temperature")
	}
	if at, ok := p.Now.Stamp.moment(); ok {
		page.course.Set(weather.TemperatureC, at, p.Now.Temperature.number())
		page.course.Set(weather.DewPointC, at, p.Now.DewPoint.number())
	}
	return nil
}

// ecPeriods draws the course after the hourly part: half a cosine from each
// stated low or high to the next. Periods carry no dates: a low is that of the
// first half past five by the sun after what came before, a high that of the
// first half past two.
func ecPeriods(p *ecProperties, page *ecPage, coordinates []float64) error {
	s := &page.course
	col := s.Col(weather.TemperatureC)
	last := len(col) - 1
	for last > 0 && math.IsNaN(col[last]) {
		last--
	}
	longitude := -75.0
	if len(coordinates) >= 2 && math.Abs(coordinates[0]) <= 180 {
		longitude = coordinates[0]
	}
	solar := func(i int) float64 {
		return math.Mod(float64(s.Time(i).Hour())+longitude/15+48, 24)
	}
	next := func(after int, hour float64) int {
		i := after + 1
		for i <= after+24 && math.Abs(solar(i)-hour) > 0.5 {
			i++
		}
		return i
	}
	at := s.Index(page.issued)
	from := last
	for i := range p.Periods.Forecasts {
		class, value, err := ecExtreme(p.Periods.Forecasts[i].Temperatures.Temperature)
		if err != nil {
			return unreadable(EnvironmentCanadaName, "forecasts[%d].temperatures.temperature is no low and no high", i)
		}
		if math.IsNaN(value) {
			continue
		}
		hour := weather.LowSolarHour
		if class == "high" {
			hour = weather.HighSolarHour
		}
		if at = next(at, hour); at >= len(col) {
			break
		}
		if at <= last {
			continue
		}
		begin := col[from]
		for h := from + 1; h <= at; h++ {
			col[h] = weather.HalfCosine(begin, value, float64(h-from)/float64(at-from))
		}
		from = at
	}
	*s = s.Slice(0, from+1)
	return nil
}

// ecExtreme reads the one temperature of a period, alone or in a list.
func ecExtreme(data json.RawMessage) (class string, value float64, err error) {
	type extreme struct {
		Class ecScalar `json:"class"`
		Value ecScalar `json:"value"`
	}
	var list []extreme
	if trimmed := bytes.TrimSpace(data); len(trimmed) == 0 || string(trimmed) == "null" {
		return "", math.NaN(), nil
	} else if trimmed[0] == '[' {
		err = json.Unmarshal(data, &list)
	} else {
		list = make([]extreme, 1)
		err = json.Unmarshal(data, &list[0])
	}
	if err != nil || len(list) == 0 {
		return "", math.NaN(), err
	}
	return list[0].Class.text, list[0].Value.number(), nil
}

type ecClimate struct {
	Station     string   `json:"CLIMATE_IDENTIFIER"`
	Date        string   `json:"UTC_DATE"`
	Temperature ecScalar `json:"TEMP"`
	DewPoint    ecScalar `json:"DEW_POINT_TEMP"`
	Humidity    ecScalar `json:"RELATIVE_HUMIDITY"`
	Rain        ecScalar `json:"PRECIP_AMOUNT"`
	Wind        ecScalar `json:"WIND_SPEED"`
	Pressure    ecScalar `json:"STATION_PRESSURE"`
	Flag        string   `json:"TEMP_FLAG"`
}

// readClimateHourly reads hourly observations, by UTC_DATE (LOCAL_DATE is
// standard time all year). Of several stations the one with the most
// temperatures counts, the nearer of two alike.
func readClimateHourly(body []byte, place weather.Place, from, to time.Time) (weather.Series, error) {
	var raw struct {
		Features []struct {
			Geometry struct {
				Coordinates []float64 `json:"coordinates"`
			} `json:"geometry"`
			Properties ecClimate `json:"properties"`
		} `json:"features"`
	}
	if err := decodeJSON(EnvironmentCanadaName, body, &raw); err != nil {
		return weather.Series{}, err
	}
	count, distance := map[string]int{}, map[string]float64{}
	for i := range raw.Features {
		f := &raw.Features[i]
		if !math.IsNaN(f.Properties.Temperature.number()) {
			count[f.Properties.Station]++
			distance[f.Properties.Station] = ecDistance(place, f.Geometry.Coordinates)
		}
	}
	best := ""
	for id, n := range count {
		if best == "" || n > count[best] || (n == count[best] && distance[id] < distance[best]) {
			best = id
		}
	}
	if best == "" {
		return weather.Series{}, unreadable(EnvironmentCanadaName, "no station near the place reported temperatures")
	}
	s := weather.NewSeries(from, int(to.Sub(from.Truncate(time.Hour)).Hours())+1)
	for i := range raw.Features {
		p := &raw.Features[i].Properties
		if p.Station != best || p.Flag == "M" {
			continue
		}
		at, err := time.Parse("2006-01-02T15:04:05", strings.Replace(p.Date, " ", "T", 1))
		if err != nil {
			return weather.Series{}, unreadable(EnvironmentCanadaName, "features[%d].properties.UTC_DATE is %q", i, p.Date)
		}
		s.Set(weather.TemperatureC, at, p.Temperature.number())
		s.Set(weather.DewPointC, at, p.DewPoint.number())
		s.Set(weather.RelativeHumidityPct, at, p.Humidity.number())
		s.Set(weather.PrecipitationMM, at, p.Rain.number())
		s.Set(weather.WindSpeedMS, at, p.Wind.number()/3.6)
		s.Set(weather.SurfacePressureHPa, at, p.Pressure.number()*10)
	}
	return s, nil
}
