package source

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"time"

	"thawline/forecast/weather"
)

const metAlertsPath = "/weatherapi/metalerts/2.0/current.json"

// Warnings asks MetAlerts 2.0 for what is current at a point.
func (m *METNorway) Warnings(ctx context.Context, place weather.Place, now time.Time) ([]weather.Warning, error) {
	if m.public && m.client.Contact() == "" {
		return nil, noContact(WarningsOf(METNorwayName))
	}
	reply, err := m.client.Get(ctx, WarningsOf(METNorwayName), strings.TrimSuffix(m.address, metPath+"/complete")+metAlertsPath,
		url.Values{"lat": {near(place.LatitudeDeg)}, "lon": {near(place.LongitudeDeg)}, "lang": {"en"}})
	if err != nil {
		return nil, err
	}
	return readMetAlerts(reply.Body, place, now)
}

// metAlert is a feature of MetAlerts' GeoJSON: the fields of its CAP messages, flat.
type metAlert struct {
	Geometry   json.RawMessage `json:"geometry"`
	Properties struct {
		ID         string          `json:"id"`
		Type       string          `json:"type"`
		Status     string          `json:"status"`
		Event      string          `json:"event"`
		Name       string          `json:"eventAwarenessName"`
		Title      string          `json:"title"`
		Severity   string          `json:"severity"`
		Level      string          `json:"awareness_level"` // such as "3; orange; Severe"
		Certainty  string          `json:"certainty"`
		Ends       string          `json:"eventEndingTime"`
		Web        string          `json:"web"`
		References json.RawMessage `json:"references"`
	} `json:"properties"`
	When struct {
		Interval []string `json:"interval"`
	} `json:"when"`
}

func readMetAlerts(body []byte, place weather.Place, now time.Time) ([]weather.Warning, error) {
	const service = METNorwayName + warningsPart
	var raw struct {
		Features *[]metAlert `json:"features"`
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
		m, err := one.message(service, where)
		if err != nil {
			return nil, err
		}
		if shape.covers(place) {
			messages = append(messages, m)
		}
	}
	return settle(messages, now), nil
}

func (a *metAlert) message(service, where string) (message, error) {
	p := &a.Properties
	severity, known := weather.ParseSeverity(p.Severity)
	if !known {
		if parts := strings.Split(p.Level, ";"); len(parts) == 3 {
			severity, _ = weather.ParseSeverity(strings.TrimSpace(parts[2]))
		}
	}
	name := p.Name
	if name == "" {
		name = p.Event
	}
	m := message{over: strings.EqualFold(p.Type, "Cancel"), test: p.Status != "" && !strings.EqualFold(p.Status, "Actual"),
		replaces: capReferences(p.References),
		warning: weather.Warning{ID: p.ID, Source: METNorwayName, Issuer: weather.Quoted{"en": "MET Norway"}, Event: quoted("en", name),
			Headline: quoted("en", p.Title),
			Severity: severity, Certainty: quote(p.Certainty), URL: quoted("en", page(p.Web))}}
	w := &m.warning
	var err error
	for i, into := range []*time.Time{&w.From, &w.To} {
		if i < len(a.When.Interval) {
			if *into, err = instant(service, where+".when.interval", a.When.Interval[i]); err != nil {
				return m, err
			}
		}
	}
	if ends, err := instant(service, where+".eventEndingTime", p.Ends); err != nil {
		return m, err
	} else if ends.After(w.To) {
		w.To = ends
	}
	w.Sent = w.From
	return m, m.check(service, where)
}

// capReferences reads the ids of earlier messages: "sender,identifier,sent", apart by
// spaces (CAP 1.2, section 3.2.1), in one text or several.
func capReferences(raw json.RawMessage) []string {
	var texts []string
	var one string
	if json.Unmarshal(raw, &one) == nil {
		texts = []string{one}
	} else if json.Unmarshal(raw, &texts) != nil {
		return nil
	}
	var ids []string
	for _, text := range texts {
		for field := range strings.FieldsSeq(text) {
			if parts := strings.Split(field, ","); len(parts) == 3 {
				field = parts[1]
			}
			ids = append(ids, field)
		}
	}
	return ids
}
