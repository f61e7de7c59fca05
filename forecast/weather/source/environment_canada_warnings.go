package source

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// ecMostAlerts is how many alerts of regions within a tenth of a degree are asked for.
const ecMostAlerts = 200

// Warnings asks the OGC API for the alerts of the regions about a place (collection
// weather-alerts, made from the service's CAP messages): the Datamart's own files are
// found by listing folders only, which its policy asks not to do again and again.
func (e *EnvironmentCanada) Warnings(ctx context.Context, place weather.Place, now time.Time) ([]weather.Warning, error) {
	west, south := math.Floor(place.LongitudeDeg/cellDeg)*cellDeg, math.Floor(place.LatitudeDeg/cellDeg)*cellDeg
	c := weather.Coordinate
	reply, err := e.client.Get(ctx, WarningsOf(EnvironmentCanadaName), e.base+"/collections/weather-alerts/items",
		url.Values{"f": {"json"}, "limit": {strconv.Itoa(ecMostAlerts)},
			"bbox": {strings.Join([]string{c(west), c(south), c(west + cellDeg), c(south + cellDeg)}, ",")}})
	if err != nil {
		return nil, err
	}
	return readECAlerts(reply.Body, place, now)
}

// ecAlert is one alert in one region.
type ecAlert struct {
	ID         string          `json:"id"`
	Geometry   json.RawMessage `json:"geometry"`
	Properties struct {
		ID       string  `json:"id"`
		Region   string  `json:"feature_id"`
		Code     string  `json:"alert_code"`
		Type     string  `json:"alert_type"`
		NameEn   string  `json:"alert_name_en"`
		NameFr   string  `json:"alert_name_fr"`
		AreaEn   string  `json:"feature_name_en"`
		AreaFr   string  `json:"feature_name_fr"`
		Status   string  `json:"status_en"`
		Colour   *string `json:"risk_colour_en"`
		Sent     string  `json:"publication_datetime"`
		From     string  `json:"validity_datetime"`
		EventEnd *string `json:"event_end_datetime"`
		Expires  string  `json:"expiration_datetime"`
	} `json:"properties"`
}

func readECAlerts(body []byte, place weather.Place, now time.Time) ([]weather.Warning, error) {
	const service = EnvironmentCanadaName + warningsPart
	var raw struct {
		Matched  int        `json:"numberMatched"`
		Features *[]ecAlert `json:"features"`
	}
	if err := decodeJSON(service, body, &raw); err != nil {
		return nil, err
	}
	if raw.Features == nil {
		return nil, unreadable(service, "features is missing")
	}
	if n := len(*raw.Features); n >= ecMostAlerts || raw.Matched > n {
		return nil, unreadable(service, "%d alerts are not all there are", n)
	}
	var messages []message
	newest := map[string]int{} // of each kind of alert in each region
	for i := range *raw.Features {
		one, where := &(*raw.Features)[i], fmt.Sprintf("features[%d]", i)
		shape, err := readArea(service, where, one.Geometry)
		if err != nil {
			return nil, err
		}
		m, err := one.message(service, where)
		if err != nil {
			return nil, err
		}
		if !shape.covers(place) {
			continue
		}
		key := one.Properties.Code + " " + one.Properties.Region
		k, before := newest[key]
		if !before || one.Properties.Code == "" || one.Properties.Region == "" {
			newest[key] = len(messages)
			messages = append(messages, m)
		} else if !m.warning.Sent.Before(messages[k].warning.Sent) {
			messages[k] = m
		}
	}
	return settle(messages, now), nil
}

func (a *ecAlert) message(service, where string) (message, error) {
	p := &a.Properties
	id := a.ID
	if id == "" {
		id = p.ID
	}
	colour := ""
	if p.Colour != nil {
		colour = *p.Colour
	}
	status := strings.ToLower(p.Status)
	m := message{over: strings.HasPrefix(status, "ended") || strings.HasPrefix(status, "cancel"), test: strings.EqualFold(p.Type, "test"),
		warning: weather.Warning{ID: id, Source: EnvironmentCanadaName,
			Issuer: weather.Quoted{"en": "Environment Canada", "fr": "Environnement Canada"},
			Event:  quoted("en", p.NameEn, "fr", p.NameFr), Headline: quoted("en", p.AreaEn, "fr", p.AreaFr),
			Severity: ecSeverity(p.Type, colour),
			URL: weather.Quoted{"en": "https://weather.gc.ca/index_e.html?layers=alert",
				"fr": "https://meteo.gc.ca/index_f.html?layers=alert"}}}
	w := &m.warning
	ends := p.Expires
	if p.EventEnd != nil && *p.EventEnd != "" {
		ends = *p.EventEnd
	}
	var err error
	for _, t := range []struct {
		into       *time.Time
		name, text string
	}{{&w.Sent, "publication_datetime", p.Sent}, {&w.From, "validity_datetime", p.From}, {&w.To, "the end", ends}} {
		if *t.into, err = instant(service, where+": "+t.name, t.text); err != nil {
			return m, err
		}
	}
	if w.From.IsZero() {
		w.From = w.Sent
	}
	return m, m.check(service, where)
}

// ecSeverity is what the service's colours mean in CAP's words: red for what threatens
// life, orange for severe, yellow for what is hazardous (its colours of October 2025;
// from memory). Before it coloured them, a warning was of what is severe.
func ecSeverity(kind, colour string) weather.Severity {
	switch strings.ToLower(colour) {
	case "red":
		return weather.Extreme
	case "orange":
		return weather.Severe
	case "yellow":
		return weather.Moderate
	}
	switch strings.ToLower(kind) {
	case "warning":
		return weather.Severe
	case "watch":
		return weather.Moderate
	case "advisory", "statement":
		return weather.Minor
	}
	return weather.UnknownSeverity
}
