package source

import (
	"encoding/json"
	"math"
	"strings"
	"time"

	"github.com/sosodev/duration"

	"thawline/forecast/weather"
)

type nwsAnswer struct {
	course     weather.Series
	updated    time.Time
	elevationM float64
}

type nwsLayer struct {
	Unit   string `json:"uom"`
	Values []struct {
		ValidTime string   `json:"validTime"`
		Value     *float64 `json:"value"`
	} `json:"values"`
}

// nwsLayers are the layers of use here. Totals are split over their hours,
// other values hold for each of them.
var nwsLayers = []struct {
	name     string
	variable weather.Variable
	total    bool
}{
	{"temperature", weather.TemperatureC, false}, {"dewpoint", weather.DewPointC, false},
	{"relativeHumidity", weather.RelativeHumidityPct, false}, {"skyCover", weather.CloudCoverPct, false},
	{"windSpeed", weather.WindSpeedMS, false}, {"quantitativePrecipitation", weather.PrecipitationMM, true},
	{"pressure", weather.SurfacePressureHPa, false},
}

// nwsUnit converts from one of the service's units (the part behind the colon
// of a WMO unit) to the column's.
func nwsUnit(unit string, v weather.Variable) (convert func(float64) float64, known bool) {
	_, name, found := strings.Cut(unit, ":")
	if !found {
		name = unit
	}
	factor := func(f float64) func(float64) float64 { return func(x float64) float64 { return x * f } }
	kinds := map[weather.Variable]map[string]func(float64) float64{
		weather.TemperatureC:        {"degC": factor(1), "degF": func(x float64) float64 { return (x - 32) / 1.8 }},
		weather.RelativeHumidityPct: {"percent": factor(1)},
		weather.WindSpeedMS:         {"km_h-1": factor(1 / 3.6), "m_s-1": factor(1)},
		weather.PrecipitationMM:     {"mm": factor(1)},
		weather.SurfacePressureHPa:  {"Pa": factor(0.01), "hPa": factor(1)},
	}
	kinds[weather.DewPointC] = kinds[weather.TemperatureC]
	kinds[weather.CloudCoverPct] = kinds[weather.RelativeHumidityPct]
	convert, known = kinds[v][name]
	return convert, known
}

const nwsMostHours = 24 * 15

// readNWSGridpoint reads the raw layers. Temperatures are whole degrees
// Fahrenheit turned into Celsius: finer than 0.3 K they mean nothing.
func readNWSGridpoint(body []byte) (nwsAnswer, error) {
	var raw struct {
		Properties map[string]json.RawMessage `json:"properties"`
	}
	if err := decodeJSON(NWSName, body, &raw); err != nil {
		return nwsAnswer{}, err
	}
	var updated string
	if data := raw.Properties["updateTime"]; data == nil || json.Unmarshal(data, &updated) != nil {
		return nwsAnswer{}, unreadable(NWSName, "properties.updateTime is missing")
	}
	at, err := time.Parse(time.RFC3339, updated)
	if err != nil {
		return nwsAnswer{}, unreadable(NWSName, "properties.updateTime is %q", updated)
	}
	a := nwsAnswer{updated: at.UTC(), elevationM: math.NaN()}
	var height struct {
		Value *float64 `json:"value"`
	}
	if data := raw.Properties["elevation"]; data != nil && json.Unmarshal(data, &height) == nil && height.Value != nil {
		a.elevationM = *height.Value
	}
	for _, l := range nwsLayers {
		data, found := raw.Properties[l.name]
		if !found {
			continue
		}
		var layer nwsLayer
		if err := json.Unmarshal(data, &layer); err != nil {
			return nwsAnswer{}, unreadable(NWSName, "the layer %s is not a list of values", l.name)
		}
		if len(layer.Values) == 0 { // an empty layer has no unit either
			continue
		}
		column, err := nwsColumn(l.name, l.variable, l.total, &layer)
		if err != nil {
			return nwsAnswer{}, err
		}
		a.course = a.course.Overlay(&column)
	}
	if !a.course.Has(weather.TemperatureC) {
		return nwsAnswer{}, unreadable(NWSName, "the layer temperature holds no value")
	}
	return a, nil
}

func nwsColumn(name string, v weather.Variable, total bool, layer *nwsLayer) (weather.Series, error) {
	convert, known := nwsUnit(layer.Unit, v)
	if !known {
		return weather.Series{}, unreadable(NWSName, "the layer %s has the unit %q, which is not known here", name, layer.Unit)
	}
	type span struct {
		from  time.Time
		hours int
	}
	spans := make([]span, len(layer.Values))
	for i, x := range layer.Values {
		from, hours, what := nwsInterval(x.ValidTime)
		if what != "" {
			return weather.Series{}, unreadable(NWSName, "%s.values[%d] has the time %q: %s", name, i, x.ValidTime, what)
		}
		spans[i] = span{from, hours}
		if i > 0 && from.Before(spans[i-1].from.Add(time.Duration(spans[i-1].hours)*time.Hour)) {
			return weather.Series{}, unreadable(NWSName, "%s.values[%d] begins before the one before it ends", name, i)
		}
	}
	first, last := spans[0], spans[len(spans)-1]
	hours := int(last.from.Sub(first.from).Hours()) + last.hours
	if hours > 2*nwsMostHours {
		return weather.Series{}, unreadable(NWSName, "the layer %s spans %d hours", name, hours)
	}
	s := weather.NewSeries(first.from, hours)
	for i, x := range layer.Values {
		if x.Value == nil {
			continue
		}
		value := convert(*x.Value)
		if total {
			value /= float64(spans[i].hours)
		}
		for h := range spans[i].hours {
			s.Set(v, spans[i].from.Add(time.Duration(h)*time.Hour), value)
		}
	}
	return s, nil
}

// nwsInterval reads "2019-07-04T18:00:00+00:00/PT3H"; what says what is wrong.
func nwsInterval(text string) (from time.Time, hours int, what string) {
	start, length, found := strings.Cut(text, "/")
	if !found {
		return from, 0, "no duration"
	}
	from, err := time.Parse(time.RFC3339, start)
	if err != nil {
		return from, 0, "no moment"
	}
	if !from.Equal(from.Truncate(time.Hour)) {
		return from, 0, "not on the hour"
	}
	d, err := duration.Parse(length)
	if err != nil {
		return from, 0, "no duration"
	}
	if d.Years != 0 || d.Months != 0 {
		return from, 0, "longer than fifteen days"
	}
	span := d.ToTimeDuration()
	switch {
	case span < time.Hour:
		return from, 0, "shorter than an hour"
	case span > nwsMostHours*time.Hour:
		return from, 0, "longer than fifteen days"
	}
	return from.UTC(), int(math.Round(span.Hours())), ""
}

func readNWSStations(body []byte) ([]string, error) {
	var raw struct {
		Features []struct {
			Properties struct {
				ID string `json:"stationIdentifier"`
			} `json:"properties"`
		} `json:"features"`
	}
	if err := decodeJSON(NWSName, body, &raw); err != nil {
		return nil, err
	}
	var ids []string
	for _, f := range raw.Features {
		if f.Properties.ID != "" {
			ids = append(ids, f.Properties.ID)
		}
	}
	return ids, nil
}

type nwsQuantity struct {
	Unit    string   `json:"unitCode"`
	Value   *float64 `json:"value"`
	Quality string   `json:"qualityControl"`
}

// readNWSObservations reads reports of one station. The report nearest to an
// hour, within half an hour of it, stands for it; values that failed the
// service's own checks (X) are left out.
func readNWSObservations(body []byte, from, to time.Time) (weather.Series, error) {
	var raw struct {
		Features []struct {
			Properties map[string]json.RawMessage `json:"properties"`
		} `json:"features"`
	}
	if err := decodeJSON(NWSName, body, &raw); err != nil {
		return weather.Series{}, err
	}
	s := weather.NewSeries(from, int(to.Sub(from.Truncate(time.Hour)).Hours())+1)
	away := make([][len(nwsObserved)]time.Duration, s.Hours())
	for _, f := range raw.Features {
		var stamp time.Time
		if data := f.Properties["timestamp"]; data == nil || json.Unmarshal(data, &stamp) != nil {
			continue
		}
		hour := stamp.Round(time.Hour)
		off := stamp.Sub(hour).Abs() + 1 // zero means that nothing is known yet
		i := s.Index(hour)
		if i < 0 || i >= s.Hours() {
			continue
		}
		for k, o := range nwsObserved {
			var q nwsQuantity
			if data := f.Properties[o.name]; data == nil || json.Unmarshal(data, &q) != nil || q.Value == nil || q.Quality == "X" {
				continue
			}
			convert, known := nwsUnit(q.Unit, o.variable)
			if !known {
				return weather.Series{},
					unreadable(NWSName, "%s of %s has the unit %q, which is not known here", o.name, stamp.Format(time.RFC3339), q.Unit)
			}
			if before := away[i][k]; before == 0 || off < before {
				away[i][k] = off
				s.Col(o.variable)[i] = convert(*q.Value)
			}
		}
	}
	return s, nil
}

var nwsObserved = [...]struct {
	name     string
	variable weather.Variable
}{
	{"temperature", weather.TemperatureC}, {"dewpoint", weather.DewPointC}, {"relativeHumidity", weather.RelativeHumidityPct},
	{"windSpeed", weather.WindSpeedMS}, {"barometricPressure", weather.SurfacePressureHPa},
}
