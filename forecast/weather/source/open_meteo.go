package source

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/secret"
	"thawline/forecast/weather"
)

// OpenMeteoOptions says where Open-Meteo, or a server like it, is reached.
// Empty addresses mean the public service; those of the ensemble and the
// archive follow BaseURL where that is given.
type OpenMeteoOptions struct {
	BaseURL, EnsembleBaseURL, ArchiveBaseURL string
	APIKey                                   secret.Text
	Model, EnsembleModel                     string
	Bound                                    Bound // 0 for the usual
}

// OpenMeteo asks the forecast, ensemble and archive services of Open-Meteo, all
// in UTC.
type OpenMeteo struct {
	client *Client
	opt    OpenMeteoOptions
	own    bool // a server of the operator's
}

// OpenMeteoName is the service's name in settings.
const OpenMeteoName = "open_meteo"

var openMeteoService = Service{
	name:  OpenMeteoName,
	make:  func(s *Services, c *Client) Forecaster { return NewOpenMeteo(c, s.OpenMeteo) },
	base:  func(s *Services) *string { return &s.OpenMeteo.BaseURL },
	bound: func(s *Services) *Bound { return &s.OpenMeteo.Bound },
	// The free service counts weighted calls, 600 a minute and 10,000 a day.
	usual: func(s *Services) Bound {
		if s.OpenMeteo.APIKey.Given() {
			return Bound{PerSecond: 20}
		}
		return Bound{PerSecond: 8, PerDay: 9500}
	},
	Example: "https://weather.example.org",
	Options: []Option{
		{Key: "ensemble_base_url", Example: "https://ensemble.weather.example.org", Address: true,
			Text: func(s *Services) *string { return &s.OpenMeteo.EnsembleBaseURL }},
		{Key: "archive_base_url", Example: "https://archive.weather.example.org", Address: true,
			Text: func(s *Services) *string { return &s.OpenMeteo.ArchiveBaseURL }},
		{Key: "api_key", Example: "/etc/thawline/open-meteo-key", Secret: func(s *Services) *secret.Text { return &s.OpenMeteo.APIKey }},
		{Key: "model", Example: "best_match", Text: func(s *Services) *string { return &s.OpenMeteo.Model }},
		{Key: "ensemble_model", Example: "ecmwf_ifs025", Text: func(s *Services) *string { return &s.OpenMeteo.EnsembleModel }},
	},
}

const (
	// The global ensemble of the European centre: 51 members, 15 days.
	openMeteoEnsembleModel = "ecmwf_ifs025"
)

// NewOpenMeteo makes the adapter.
func NewOpenMeteo(c *Client, o OpenMeteoOptions) *OpenMeteo {
	m := &OpenMeteo{client: c, opt: o, own: o.BaseURL != ""}
	prefix := "https://"
	if o.APIKey.Given() {
		prefix = "https://customer-"
	}
	usual := func(given *string, host, endpoint string) {
		switch {
		case *given == "" && m.own:
			*given = m.opt.BaseURL
		case *given == "":
			*given = prefix + host
		}
		*given = strings.TrimSuffix(strings.TrimRight(*given, "/"), endpoint)
		*given = strings.TrimRight(strings.TrimSuffix(*given, "/v1"), "/")
	}
	usual(&m.opt.EnsembleBaseURL, "ensemble-api.open-meteo.com", "/ensemble")
	usual(&m.opt.ArchiveBaseURL, "archive-api.open-meteo.com", "/archive")
	usual(&m.opt.BaseURL, "api.open-meteo.com", "/forecast")
	m.opt.EnsembleBaseURL = strings.TrimSuffix(m.opt.EnsembleBaseURL, "/v1/forecast")
	m.opt.ArchiveBaseURL = strings.TrimSuffix(m.opt.ArchiveBaseURL, "/v1/forecast")
	fill(&m.opt.EnsembleModel, openMeteoEnsembleModel)
	return m
}

// Name is the service's name in settings.
func (m *OpenMeteo) Name() string { return OpenMeteoName }

const (
	openMeteoHourly         = "temperature_2m,dew_point_2m,relative_humidity_2m,surface_pressure,shortwave_radiation,cloud_cover,wind_speed_10m,precipitation,snow_depth"
	openMeteoEnsembleHourly = "temperature_2m,dew_point_2m,shortwave_radiation,cloud_cover,wind_speed_10m,precipitation"
)

func (m *OpenMeteo) query(p weather.Place, hourly string) url.Values {
	q := url.Values{
		"latitude": {weather.Coordinate(p.LatitudeDeg)}, "longitude": {weather.Coordinate(p.LongitudeDeg)},
		"timezone": {"GMT"}, "timeformat": {"unixtime"}, "wind_speed_unit": {"ms"}, "hourly": {hourly},
	}
	if !math.IsNaN(p.ElevationM) {
		q.Set("elevation", strconv.Itoa(int(math.Round(p.ElevationM))))
	}
	if m.opt.APIKey.Given() {
		q.Set("apikey", m.opt.APIKey.Reveal())
	}
	return q
}

// Forecast asks for the past days and the coming ones, and for the members of
// an ensemble; without those the answer still stands.
func (m *OpenMeteo) Forecast(ctx context.Context, r Request) (weather.Bulletin, error) {
	q := m.query(r.Place, openMeteoHourly)
	m.forecastDays(q, &r)
	reply, err := m.client.GetFor(ctx, OpenMeteoName, forecastCost(&r), m.opt.BaseURL+"/v1/forecast", q)
	if err != nil {
		return weather.Bulletin{}, err
	}
	b, err := m.bulletin(reply.Body, &reply, &r)
	if err != nil {
		return weather.Bulletin{}, err
	}
	if b.Members, err = m.ensemble(ctx, &r); err != nil {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.NoEnsemble, Why: err.Error()})
	}
	return b, nil
}

func (m *OpenMeteo) forecastDays(q url.Values, r *Request) {
	q.Set("past_days", strconv.Itoa(min(max(r.PastDays, 0), 92)))
	q.Set("forecast_days", strconv.Itoa(min(max(r.Days+1, 2), 16)))
	if m.opt.Model != "" {
		q.Set("models", m.opt.Model)
	}
}

// bulletin reads what an answer says of one place.
func (m *OpenMeteo) bulletin(body []byte, reply *Reply, r *Request) (weather.Bulletin, error) {
	b, err := readOpenMeteo(body)
	if err != nil {
		return b, err
	}
	b.Course, b.Members = b.Members[0], nil
	b.IssuedAt, b.FetchedAt = repliedAt(reply, r.Now), reply.ReceivedAt
	b.Credits = []weather.Credit{{Text: "Weather data by Open-Meteo.com", Link: "https://open-meteo.com/", Licence: "CC BY 4.0, modified"}}
	if !m.own && !m.opt.APIKey.Given() {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.NonCommercial, Name: "Open-Meteo"})
	}
	return b, nil
}

func (m *OpenMeteo) ensemble(ctx context.Context, r *Request) ([]weather.Series, error) {
	q := m.query(r.Place, openMeteoEnsembleHourly)
	m.ensembleDays(q, r)
	reply, err := m.client.GetFor(ctx, OpenMeteoName+" ensemble", ensembleCost(r), m.opt.EnsembleBaseURL+"/v1/ensemble", q)
	if err != nil {
		return nil, err
	}
	answer, err := readOpenMeteo(reply.Body)
	if err != nil {
		return nil, err
	}
	return answer.Members, nil
}

func (m *OpenMeteo) ensembleDays(q url.Values, r *Request) {
	q.Set("models", m.opt.EnsembleModel)
	q.Set("forecast_days", strconv.Itoa(min(max(r.Days+1, 2), 16)))
}

// History asks the archive for the days between two moments.
func (m *OpenMeteo) History(ctx context.Context, place weather.Place, from, to time.Time) (weather.Series, []weather.Credit, error) {
	q := m.query(place, openMeteoHourly)
	q.Set("start_date", from.UTC().Format(time.DateOnly))
	q.Set("end_date", to.UTC().Format(time.DateOnly))
	reply, err := m.client.GetOnce(ctx, OpenMeteoName+" archive", max(to.Sub(from).Hours()/24/14, 1), m.opt.ArchiveBaseURL+"/v1/archive", q)
	if err != nil {
		return weather.Series{}, nil, err
	}
	answer, err := readOpenMeteo(reply.Body)
	if err != nil {
		return weather.Series{}, nil, err
	}
	return answer.Members[0].Between(from, to), []weather.Credit{
		{Text: "Weather data by Open-Meteo.com", Link: "https://open-meteo.com/", Licence: "CC BY 4.0, modified"},
		{Text: "Contains modified Copernicus Climate Change Service information", Link: "https://climate.copernicus.eu/"},
	}, nil
}

// Zone asks in which time zone a place lies.
func (m *OpenMeteo) Zone(ctx context.Context, place weather.Place) (string, error) {
	q := m.query(place, "temperature_2m")
	q.Set("timezone", "auto")
	q.Set("forecast_days", "1")
	reply, err := m.client.Get(ctx, OpenMeteoName, m.opt.BaseURL+"/v1/forecast", q)
	if err != nil {
		return "", err
	}
	answer, err := readOpenMeteo(reply.Body)
	if err != nil {
		return "", err
	}
	if answer.ZoneName == "" {
		return "", fmt.Errorf("%s: no time zone in the answer", OpenMeteoName)
	}
	return answer.ZoneName, nil
}

// repliedAt stands for the issue time where an answer names none: the moment
// the server gave it out, less the time that it lay in a cache, and never later
// than now, for a replayed clock.
func repliedAt(r *Reply, now time.Time) time.Time {
	t, err := http.ParseTime(r.Header.Get("Date"))
	if err != nil {
		t = r.ReceivedAt
	} else if age, err := strconv.Atoi(r.Header.Get("Age")); err == nil && age > 0 {
		t = t.Add(-time.Duration(age) * time.Second)
	}
	if t.After(now) {
		t = now
	}
	return t.UTC()
}
