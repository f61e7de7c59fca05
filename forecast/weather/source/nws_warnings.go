package source

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"thawline/forecast/weather"
)

// Warnings asks for the alerts that are active at a point (GET /alerts/active?point=).
func (n *NWS) Warnings(ctx context.Context, place weather.Place, now time.Time) ([]weather.Warning, error) {
	if n.public && n.client.Contact() == "" {
		return nil, noContact(WarningsOf(NWSName))
	}
	reply, err := n.client.Get(ctx, WarningsOf(NWSName), n.base+"/alerts/active",
		url.Values{"point": {near(place.LatitudeDeg) + "," + near(place.LongitudeDeg)}})
	var f *Fault
	if errors.As(err, &f) && (f.Status == http.StatusNotFound || f.Status == http.StatusBadRequest) {
		return nil, &Fault{Service: WarningsOf(NWSName), Kind: Outside, Status: f.Status, Detail: "has no warnings for this place",
			Cause: err}
	}
	if err != nil {
		return nil, err
	}
	return readNWSAlerts(reply.Body, place, now)
}

// nwsAlert is a feature of the service's GeoJSON, with the properties of CAP 1.2.
type nwsAlert struct {
	Geometry   json.RawMessage `json:"geometry"`
	Properties struct {
		ID         string `json:"id"`
		Status     string `json:"status"`
		Type       string `json:"messageType"`
		Event      string `json:"event"`
		Headline   string `json:"headline"`
		Severity   string `json:"severity"`
		Certainty  string `json:"certainty"`
		Urgency    string `json:"urgency"`
		Sent       string `json:"sent"`
		Effective  string `json:"effective"`
		Onset      string `json:"onset"`
		Ends       string `json:"ends"`
		Expires    string `json:"expires"`
		ReplacedBy string `json:"replacedBy"`
		References []struct {
			ID   string    `json:"identifier"`
			Sent time.Time `json:"sent"`
		} `json:"references"`
	} `json:"properties"`
}

func readNWSAlerts(body []byte, place weather.Place, now time.Time) ([]weather.Warning, error) {
	const service = NWSName + warningsPart
	var raw struct {
		Features *[]nwsAlert `json:"features"`
	}
	if err := decodeJSON(service, body, &raw); err != nil {
		return nil, err
	}
	if raw.Features == nil {
		return nil, unreadable(service, "features is missing")
	}
	var messages []message
	for i := range *raw.Features {
		one, where := &(*raw.Features)[i], fmt.Sprintf("features[%d]", i)
		shape, err := readArea(service, where, one.Geometry)
		if err != nil {
			return nil, err
		}
		m, err := one.message(service, where, place)
		if err != nil {
			return nil, err
		}
		if shape.covers(place) {
			messages = append(messages, m)
		}
	}
	return settle(messages, now), nil
}

func (a *nwsAlert) message(service, where string, place weather.Place) (message, error) {
	p := &a.Properties
	severity, _ := weather.ParseSeverity(p.Severity)
	m := message{
		over: strings.EqualFold(p.Type, "Cancel") || p.ReplacedBy != "", test: !strings.EqualFold(p.Status, "Actual"),
		warning: weather.Warning{ID: p.ID, Thread: p.ID, Source: NWSName, Issuer: weather.Quoted{"en": "NWS"},
			Event: quoted("en", p.Event), Headline: quoted("en", p.Headline),
			Severity: severity, Certainty: quote(p.Certainty), Urgency: quote(p.Urgency),
			URL: weather.Quoted{"en": "https://forecast.weather.gov/MapClick.php?lat=" + near(place.LatitudeDeg) + "&lon=" +
				near(place.LongitudeDeg)}},
	}
	w := &m.warning
	first := time.Time{}
	for _, r := range p.References {
		m.replaces = append(m.replaces, r.ID)
		if r.ID != "" && (first.IsZero() || r.Sent.Before(first)) {
			first, w.Thread = r.Sent, r.ID
		}
	}
	var err error
	for _, t := range []struct {
		into *time.Time
		from []string // the first that is given
	}{{&w.Sent, []string{p.Sent}}, {&w.From, []string{p.Onset, p.Effective, p.Sent}}, {&w.To, []string{p.Ends, p.Expires}}} {
		for _, text := range t.from {
			if *t.into, err = instant(service, "a time of "+where, text); err != nil {
				return m, err
			}
			if text != "" {
				break
			}
		}
	}
	return m, m.check(service, where)
}
