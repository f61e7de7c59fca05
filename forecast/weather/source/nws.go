package source

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"thawline/forecast/weather"
)

// NWSOptions says where the US National Weather Service is reached; "" means
// its own address.
type NWSOptions struct {
	BaseURL string
	Bound   Bound // 0 for the usual
}

// NWS asks the US National Weather Service: the point's grid cell, its raw
// layers, and what nearby stations observed in the last days. Addresses inside
// answers are not followed: they would lead away from a mirror.
type NWS struct {
	client *Client
	base   string
	public bool

	mu    sync.Mutex
	cells map[weather.Place]nwsCell
}

type nwsCell struct{ grid, zone string } // grid as in "ALY/71,67"

// NWSName is the service's name in settings.
const NWSName = "nws"

var nwsService = Service{
	name:  NWSName,
	make:  func(s *Services, c *Client) Forecaster { return NewNWS(c, s.NWS) },
	base:  func(s *Services) *string { return &s.NWS.BaseURL },
	bound: func(s *Services) *Bound { return &s.NWS.Bound },
	usual: func(*Services) Bound { return Bound{PerSecond: 5} }, // it names no number
	warns: `America/New_York America/Detroit America/Kentucky/Louisville America/Kentucky/Monticello America/Indiana/Indianapolis
		America/Indiana/Vincennes America/Indiana/Winamac America/Indiana/Marengo America/Indiana/Petersburg America/Indiana/Vevay
		America/Indiana/Tell_City America/Indiana/Knox America/Chicago America/Menominee America/North_Dakota/Center
		America/North_Dakota/New_Salem America/North_Dakota/Beulah America/Denver America/Boise America/Phoenix America/Los_Angeles
		America/Anchorage America/Juneau America/Sitka America/Metlakatla America/Yakutat America/Nome America/Adak Pacific/Honolulu`,
	Example: "https://nws.example.org", WantsContact: true, ByDefault: true,
}

// NewNWS makes the adapter.
func NewNWS(c *Client, o NWSOptions) *NWS {
	base := strings.TrimRight(o.BaseURL, "/")
	public := base == ""
	if public {
		base = "https://api.weather.gov"
	}
	return &NWS{client: c, base: base, public: public, cells: map[weather.Place]nwsCell{}}
}

// Name is the service's name in settings.
func (n *NWS) Name() string { return NWSName }

// Forecast reads the raw layers, about seven days by the hour, and the
// observations of the days before. Their lack is noted, not a fault.
func (n *NWS) Forecast(ctx context.Context, r Request) (weather.Bulletin, error) {
	cell, body, err := n.gridpoint(ctx, r.Place)
	if err != nil {
		return weather.Bulletin{}, err
	}
	a, err := readNWSGridpoint(body.Body)
	if err != nil {
		return weather.Bulletin{}, err
	}
	b := weather.Bulletin{
		Source: NWSName, IssuedAt: a.updated, FetchedAt: body.ReceivedAt, Course: a.course, ElevationM: a.elevationM, ZoneName: cell.zone,
		Credits: nwsCredits(),
	}
	past, err := n.observed(ctx, cell, r.Now.AddDate(0, 0, -min(max(r.PastDays, 1), nwsObservedDays)), r.Now)
	if err != nil {
		b.Remarks = append(b.Remarks, weather.Remark{Kind: weather.NoObservations, Why: err.Error()})
	} else {
		b.Course = b.Course.Overlay(&past)
	}
	return b, nil
}

// nwsObservedDays is how long the service keeps observations.
const nwsObservedDays = 7

func nwsCredits() []weather.Credit {
	return []weather.Credit{{Text: "Forecast data: NOAA / National Weather Service", Link: "https://www.weather.gov/",
		Licence: "public domain"}}
}

// History reads observations, of about the last week.
func (n *NWS) History(ctx context.Context, place weather.Place, from, to time.Time) (weather.Series, []weather.Credit, error) {
	cell, err := n.cell(ctx, place)
	if err != nil {
		return weather.Series{}, nil, err
	}
	past, err := n.observed(ctx, cell, from, to)
	return past, nwsCredits(), err
}

// gridpoint fetches the raw layers. The service moves its grid now and then: a
// cell that is gone is looked up anew, once.
func (n *NWS) gridpoint(ctx context.Context, place weather.Place) (nwsCell, Reply, error) {
	for again := false; ; again = true {
		cell, err := n.cell(ctx, place)
		if err != nil {
			return nwsCell{}, Reply{}, err
		}
		reply, err := n.client.Get(ctx, NWSName, n.base+"/gridpoints/"+cell.grid, nil)
		var f *Fault
		if errors.As(err, &f) && f.Status == http.StatusNotFound && !again {
			n.mu.Lock()
			delete(n.cells, place)
			n.mu.Unlock()
			continue
		}
		return cell, reply, err
	}
}

func (n *NWS) cell(ctx context.Context, place weather.Place) (nwsCell, error) {
	if n.public && n.client.Contact() == "" {
		return nwsCell{}, noContact(NWSName)
	}
	n.mu.Lock()
	cell, found := n.cells[place]
	n.mu.Unlock()
	if found {
		return cell, nil
	}
	reply, err := n.client.Get(ctx, NWSName,
		n.base+"/points/"+weather.Coordinate(place.LatitudeDeg)+","+weather.Coordinate(place.LongitudeDeg), nil)
	var f *Fault
	if errors.As(err, &f) && f.Status == http.StatusNotFound {
		return nwsCell{}, &Fault{Service: NWSName, Kind: Outside, Status: f.Status, Detail: "covers the United States only", Cause: err}
	}
	if err != nil {
		return nwsCell{}, err
	}
	if cell, err = readNWSPoint(reply.Body); err != nil {
		return nwsCell{}, err
	}
	n.mu.Lock()
	n.cells[place] = cell
	n.mu.Unlock()
	return cell, nil
}

func readNWSPoint(body []byte) (nwsCell, error) {
	var raw struct {
		Properties struct {
			ID   string      `json:"gridId"`
			X    json.Number `json:"gridX"`
			Y    json.Number `json:"gridY"`
			Zone string      `json:"timeZone"`
		} `json:"properties"`
	}
	if err := decodeJSON(NWSName, body, &raw); err != nil {
		return nwsCell{}, err
	}
	p := raw.Properties
	x, err1 := p.X.Int64()
	y, err2 := p.Y.Int64()
	if p.ID == "" || err1 != nil || err2 != nil {
		return nwsCell{}, unreadable(NWSName, "the point has no gridId, gridX and gridY")
	}
	return nwsCell{fmt.Sprintf("%s/%d,%d", url.PathEscape(p.ID), x, y), p.Zone}, nil
}

// nwsStations names the breaker of observations, which are a help and not needed: where
// stations fail, the forecast is asked for all the same.
const nwsStations = NWSName + " observations"

// observed asks the nearest stations, until one has at least half of the hours.
func (n *NWS) observed(ctx context.Context, cell nwsCell, from, to time.Time) (weather.Series, error) {
	const stations = 3
	reply, err := n.client.Get(ctx, nwsStations, n.base+"/gridpoints/"+cell.grid+"/stations", nil)
	if err != nil {
		return weather.Series{}, err
	}
	ids, err := readNWSStations(reply.Body)
	if err != nil {
		return weather.Series{}, err
	}
	err = unreadable(NWSName, "no station near the point")
	for _, id := range ids[:min(stations, len(ids))] {
		var reply Reply
		if reply, err = n.client.GetOnce(ctx, nwsStations, 1, n.base+"/stations/"+url.PathEscape(id)+"/observations", url.Values{
			"start": {from.UTC().Format(time.RFC3339)}, "end": {to.UTC().Format(time.RFC3339)}, "limit": {"500"}}); err != nil {
			continue
		}
		var past weather.Series
		if past, err = readNWSObservations(reply.Body, from, to); err != nil {
			continue
		}
		if known := knownTemperatures(&past); known*2 >= past.Hours() {
			return past, nil
		}
		err = unreadable(NWSName, "station %s has gaps in more than half of the hours", id)
	}
	return weather.Series{}, err
}

func knownTemperatures(s *weather.Series) int {
	n := 0
	for i := range s.Hours() {
		if !math.IsNaN(s.At(weather.TemperatureC, i)) {
			n++
		}
	}
	return n
}
