package source

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// EnvironmentCanadaOptions says where Environment Canada's GeoMet is reached,
// "" for its own address, and which city page to read, "" for the nearest.
type EnvironmentCanadaOptions struct {
	BaseURL, City string
	Bound         Bound // 0 for the usual
}

// EnvironmentCanada asks the OGC API of Environment and Climate Change Canada
// for city pages and hourly climate observations.
type EnvironmentCanada struct {
	client *Client
	base   string
	city   string
}

// EnvironmentCanadaName is the service's name in settings.
const EnvironmentCanadaName = "environment_canada"

var environmentCanadaService = Service{
	name:  EnvironmentCanadaName,
	make:  func(s *Services, c *Client) Forecaster { return NewEnvironmentCanada(c, s.EnvironmentCanada) },
	base:  func(s *Services) *string { return &s.EnvironmentCanada.BaseURL },
	bound: func(s *Services) *Bound { return &s.EnvironmentCanada.Bound },
	usual: func(*Services) Bound { return Bound{PerSecond: 5} }, // it names no number
	warns: `America/St_Johns America/Halifax America/Glace_Bay America/Moncton America/Goose_Bay America/Blanc-Sablon
		America/Toronto America/Montreal America/Nipigon America/Thunder_Bay America/Iqaluit America/Pangnirtung America/Rankin_Inlet
		America/Resolute America/Atikokan America/Winnipeg America/Rainy_River America/Regina America/Swift_Current America/Edmonton
		America/Cambridge_Bay America/Yellowknife America/Inuvik America/Creston America/Dawson_Creek America/Fort_Nelson
		America/Whitehorse America/Dawson America/Vancouver`,
	Example: "https://ec.example.org", ByDefault: true,
	Options: []Option{{Key: "city", Example: "qc-133", Text: func(s *Services) *string { return &s.EnvironmentCanada.City }}},
}

// NewEnvironmentCanada makes the adapter.
func NewEnvironmentCanada(c *Client, o EnvironmentCanadaOptions) *EnvironmentCanada {
	base := strings.TrimRight(o.BaseURL, "/")
	fill(&base, "https://api.weather.gc.ca")
	return &EnvironmentCanada{c, base, o.City}
}

// Name is the service's name in settings.
func (e *EnvironmentCanada) Name() string { return EnvironmentCanadaName }

// Forecast reads the city page: a day by the hour, then lows and highs.
func (e *EnvironmentCanada) Forecast(ctx context.Context, r Request) (weather.Bulletin, error) {
	page, reply, err := e.page(ctx, r.Place)
	if err != nil {
		return weather.Bulletin{}, err
	}
	b := weather.Bulletin{
		Source: EnvironmentCanadaName, IssuedAt: page.issued, FetchedAt: reply.ReceivedAt, Course: page.course, ElevationM: math.NaN(),
		Credits: ecCredits(),
		Remarks: []weather.Remark{{Kind: weather.CityPage, Name: page.name}},
	}
	past, err := e.observed(ctx, r.Place, r.Now.AddDate(0, 0, -max(r.PastDays, 1)), r.Now)
	if err != nil {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.NoObservations, Why: err.Error()})
	} else {
		b.Course = past.Overlay(&b.Course)
	}
	return b, nil
}

func ecCredits() []weather.Credit {
	return []weather.Credit{{Text: "Data Source: Environment and Climate Change Canada",
		Link: "https://eccc-msc.github.io/open-data/licence/readme_en/", Licence: "Data Server End-use Licence v2.1"}}
}

// History reads the hourly climate observations of the nearest good station.
func (e *EnvironmentCanada) History(ctx context.Context, place weather.Place, from, to time.Time) (weather.Series, []weather.Credit,
	error) {
	past, err := e.observed(ctx, place, from, to)
	return past, ecCredits(), err
}

func (e *EnvironmentCanada) page(ctx context.Context, place weather.Place) (ecPage, Reply, error) {
	const collection = "/collections/citypageweather-realtime/items"
	if e.city != "" {
		reply, err := e.client.Get(ctx, EnvironmentCanadaName, e.base+collection+"/"+url.PathEscape(e.city), url.Values{"f": {"json"}})
		if err != nil {
			return ecPage{}, reply, err
		}
		page, err := readCityPage(reply.Body, place)
		return page, reply, err
	}
	for _, degrees := range []float64{0.5, 1.5} {
		reply, err := e.client.Get(ctx, EnvironmentCanadaName, e.base+collection,
			url.Values{"f": {"json"}, "bbox": {ecBox(place, degrees)}, "limit": {"50"}})
		if err != nil {
			return ecPage{}, reply, err
		}
		page, err := readCityPage(reply.Body, place)
		if err != nil || page.name != "" {
			return page, reply, err
		}
	}
	return ecPage{}, Reply{}, &Fault{Service: EnvironmentCanadaName, Kind: Outside,
		Detail: "has no city within reach: it covers Canada only"}
}

func ecBox(p weather.Place, degrees float64) string {
	c := weather.Coordinate
	return strings.Join([]string{c(p.LongitudeDeg - degrees), c(p.LatitudeDeg - degrees), c(p.LongitudeDeg + degrees),
		c(p.LatitudeDeg + degrees)}, ",")
}

func (e *EnvironmentCanada) observed(ctx context.Context, place weather.Place, from, to time.Time) (weather.Series, error) {
	reply, err := e.client.GetOnce(ctx, EnvironmentCanadaName, 1, e.base+"/collections/climate-hourly/items", url.Values{
		"f": {"json"}, "bbox": {ecBox(place, 0.7)}, "limit": {"10000"},
		"datetime": {fmt.Sprintf("%s/%s", from.UTC().Format("2006-01-02T15:04:05Z"), to.UTC().Format("2006-01-02T15:04:05Z"))}})
	if err != nil {
		return weather.Series{}, err
	}
	return readClimateHourly(reply.Body, place, from, to)
}

// ecDistance orders places by how far they are: squared degrees of a circle
// about the first, good enough within a degree or two.
func ecDistance(p weather.Place, coordinates []float64) float64 {
	if len(coordinates) < 2 {
		return math.Inf(1)
	}
	east := (coordinates[0] - p.LongitudeDeg) * math.Cos(p.LatitudeDeg*math.Pi/180)
	north := coordinates[1] - p.LatitudeDeg
	return east*east + north*north
}
