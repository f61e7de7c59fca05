package source

import (
	"context"
	"maps"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// METNorwayOptions says where MET Norway is reached; "" means its own address.
type METNorwayOptions struct {
	BaseURL string
	Bound   Bound // 0 for the usual
}

// METNorway asks MET Norway's Locationforecast 2.0, complete.
type METNorway struct {
	client  *Client
	address string
	public  bool
}

// METNorwayName is the service's name in settings.
const METNorwayName = "met_norway"

var metNorwayService = Service{
	name:    METNorwayName,
	make:    func(s *Services, c *Client) Forecaster { return NewMETNorway(c, s.METNorway) },
	base:    func(s *Services) *string { return &s.METNorway.BaseURL },
	bound:   func(s *Services) *Bound { return &s.METNorway.Bound },
	usual:   func(*Services) Bound { return Bound{PerSecond: 10} }, // above 20 it wants an agreement
	warns:   `Europe/Oslo Arctic/Longyearbyen`,
	Example: "https://met.example.org", WantsContact: true, ByDefault: true,
}

const (
	metHost = "https://api.met.no"
	metPath = "/weatherapi/locationforecast/2.0"
)

// NewMETNorway makes the adapter.
func NewMETNorway(c *Client, o METNorwayOptions) *METNorway {
	base := strings.TrimSuffix(strings.TrimRight(o.BaseURL, "/"), "/complete")
	if base == "" {
		base = metHost
	}
	public := base == metHost || strings.HasPrefix(base, metHost+"/")
	if !strings.HasSuffix(base, metPath) {
		base += metPath
	}
	return &METNorway{c, base + "/complete", public}
}

// Name is the service's name in settings.
func (m *METNorway) Name() string { return METNorwayName }

// Forecast asks for the coming nine days or so: hourly for some two and a half
// days, six-hourly after that.
func (m *METNorway) Forecast(ctx context.Context, r Request) (weather.Bulletin, error) {
	if m.public && m.client.Contact() == "" {
		return weather.Bulletin{}, noContact(METNorwayName)
	}
	q := url.Values{"lat": {weather.Coordinate(r.Place.LatitudeDeg)}, "lon": {weather.Coordinate(r.Place.LongitudeDeg)}}
	if !math.IsNaN(r.Place.ElevationM) {
		q.Set("altitude", strconv.Itoa(int(math.Round(r.Place.ElevationM))))
	}
	reply, err := m.client.Get(ctx, METNorwayName, m.address, q)
	if err != nil {
		return weather.Bulletin{}, err
	}
	a, err := readMETNorway(reply.Body)
	if err != nil {
		return weather.Bulletin{}, err
	}
	b := weather.Bulletin{
		Source: METNorwayName, IssuedAt: a.updated, FetchedAt: reply.ReceivedAt, Course: a.course, ElevationM: a.altitudeM,
		Credits: []weather.Credit{{Text: "Based on data from MET Norway", Link: "https://www.met.no/", Licence: "CC BY 4.0"}},
	}
	if reply.Status == http.StatusNonAuthoritativeInfo {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.EndingSoon, Name: METNorwayName})
	}
	return b, nil
}

func noContact(service string) *Fault {
	return &Fault{Service: service, Kind: Refused, Detail: "turns away callers that don't say who they are",
		Remedy: "set weather.contact to an e-mail or web address"}
}

type metAnswer struct {
	course    weather.Series
	updated   time.Time
	altitudeM float64
}

type metBlock struct {
	Details map[string]*float64 `json:"details"`
}

type metStep struct {
	Time time.Time `json:"time"`
	Data struct {
		Instant    metBlock  `json:"instant"`
		NextHour   *metBlock `json:"next_1_hours"`
		NextSixHrs *metBlock `json:"next_6_hours"`
	} `json:"data"`
}

func (b *metBlock) value(name string) float64 {
	if b == nil || b.Details[name] == nil {
		return math.NaN()
	}
	return *b.Details[name]
}

var metUnits = map[string]string{
	"air_temperature": "celsius", "air_temperature_max": "celsius", "air_temperature_min": "celsius", "dew_point_temperature": "celsius",
	"air_pressure_at_sea_level": "hPa", "relative_humidity": "%", "cloud_area_fraction": "%", "wind_speed": "m/s",
	"precipitation_amount": "mm",
}

const metMostSteps = 1000

func readMETNorway(body []byte) (metAnswer, error) {
	var raw struct {
		Geometry struct {
			Coordinates []float64 `json:"coordinates"`
		} `json:"geometry"`
		Properties struct {
			Meta struct {
				Updated time.Time         `json:"updated_at"`
				Units   map[string]string `json:"units"`
			} `json:"meta"`
			Steps []metStep `json:"timeseries"`
		} `json:"properties"`
	}
	if err := decodeJSON(METNorwayName, body, &raw); err != nil {
		return metAnswer{}, err
	}
	p := &raw.Properties
	if p.Meta.Updated.IsZero() {
		return metAnswer{}, unreadable(METNorwayName, "properties.meta.updated_at is missing")
	}
	for _, name := range slices.Sorted(maps.Keys(metUnits)) {
		want := metUnits[name]
		if got, found := p.Meta.Units[name]; found && got != want {
			return metAnswer{}, unreadable(METNorwayName, "the unit of %s is %q, not %q", name, got, want)
		}
	}
	if len(p.Steps) < 2 || len(p.Steps) > metMostSteps {
		return metAnswer{}, unreadable(METNorwayName, "properties.timeseries holds %d steps", len(p.Steps))
	}
	for i := range p.Steps {
		at := p.Steps[i].Time
		if !at.Equal(at.Truncate(time.Hour)) {
			return metAnswer{}, unreadable(METNorwayName, "timeseries[%d] is at %s, not on the hour", i, at.Format(time.RFC3339))
		}
		if i > 0 {
			if gap := at.Sub(p.Steps[i-1].Time); gap <= 0 || gap > 12*time.Hour {
				return metAnswer{}, unreadable(METNorwayName, "timeseries[%d] follows the one before it after %s", i, gap)
			}
		}
	}
	a := metAnswer{updated: p.Meta.Updated.UTC(), altitudeM: math.NaN()}
	longitudeDeg := math.NaN()
	if at := raw.Geometry.Coordinates; len(at) == 3 {
		longitudeDeg, a.altitudeM = at[0], at[2]
	}
	first, last := p.Steps[0].Time, p.Steps[len(p.Steps)-1].Time
	a.course = weather.NewSeries(first, int(last.Sub(first).Hours())+1)
	for i := range p.Steps {
		metFill(&a, &p.Steps[i])
	}
	metDrawTemperature(&a.course, p.Steps, longitudeDeg)
	if !a.course.Has(weather.TemperatureC) {
		return metAnswer{}, unreadable(METNorwayName, "no step holds an air_temperature")
	}
	return a, nil
}

// metFill puts the instant of a step, and the rain after it, into the course.
// Rain of one hour stands before rain of six: never both for one hour.
func metFill(a *metAnswer, s *metStep) {
	now := &s.Data.Instant
	t := now.value("air_temperature")
	a.course.Set(weather.TemperatureC, s.Time, t)
	a.course.Set(weather.DewPointC, s.Time, now.value("dew_point_temperature"))
	a.course.Set(weather.RelativeHumidityPct, s.Time, now.value("relative_humidity"))
	a.course.Set(weather.CloudCoverPct, s.Time, now.value("cloud_area_fraction"))
	a.course.Set(weather.WindSpeedMS, s.Time, now.value("wind_speed"))
	if p := now.value("air_pressure_at_sea_level"); !math.IsNaN(a.altitudeM) && !math.IsNaN(t) {
		a.course.Set(weather.SurfacePressureHPa, s.Time, weather.PressureAtHeight(p, t+0.0065*a.altitudeM, 0, a.altitudeM))
	}
	if rain := s.Data.NextHour.value("precipitation_amount"); !math.IsNaN(rain) {
		a.course.Set(weather.PrecipitationMM, s.Time, rain)
		return
	}
	if rain := s.Data.NextSixHrs.value("precipitation_amount"); !math.IsNaN(rain) {
		for h := range 6 {
			a.course.Set(weather.PrecipitationMM, s.Time.Add(time.Duration(h)*time.Hour), rain/6)
		}
	}
}
