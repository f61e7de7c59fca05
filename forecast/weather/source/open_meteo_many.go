package source

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"thawline/forecast/weather"
)

// ForecastMany asks for several places in one question, as Forecast does for one.
func (m *OpenMeteo) ForecastMany(ctx context.Context, r Request, places []weather.Place) ([]weather.Bulletin, []error, error) {
	q := m.query(weather.Place{ElevationM: math.NaN()}, openMeteoHourly)
	m.forecastDays(q, &r)
	at(q, places)
	reply, err := m.client.GetFor(ctx, OpenMeteoName, float64(len(places))*forecastCost(&r), m.opt.BaseURL+"/v1/forecast", q)
	if err != nil {
		return nil, nil, err
	}
	parts, err := openMeteoParts(reply.Body, len(places))
	if err != nil {
		return nil, nil, err
	}
	bulletins, errs := make([]weather.Bulletin, len(places)), make([]error, len(places))
	for i := range parts {
		bulletins[i], errs[i] = m.bulletin(parts[i], &reply, &r)
	}
	members, err := m.ensembles(ctx, &r, places)
	for i := range bulletins {
		if err != nil {
			bulletins[i].Remarks = append(bulletins[i].Remarks, weather.Remark{Kind: weather.NoEnsemble, Why: err.Error()})
			continue
		}
		bulletins[i].Members = members[i]
	}
	return bulletins, errs, nil
}

func (m *OpenMeteo) ensembles(ctx context.Context, r *Request, places []weather.Place) ([][]weather.Series, error) {
	q := m.query(weather.Place{ElevationM: math.NaN()}, openMeteoEnsembleHourly)
	m.ensembleDays(q, r)
	at(q, places)
	reply, err := m.client.GetFor(ctx, OpenMeteoName+" ensemble", float64(len(places))*ensembleCost(r),
		m.opt.EnsembleBaseURL+"/v1/ensemble", q)
	if err != nil {
		return nil, err
	}
	parts, err := openMeteoParts(reply.Body, len(places))
	if err != nil {
		return nil, err
	}
	out := make([][]weather.Series, len(parts))
	for i := range parts {
		answer, err := readOpenMeteo(parts[i])
		if err != nil {
			return nil, err
		}
		out[i] = answer.Members
	}
	return out, nil
}

// at names the places of a question, comma by comma; heights only where all are
// known.
func at(q url.Values, places []weather.Place) {
	latitudes, longitudes, heights := make([]string, len(places)), make([]string, len(places)), make([]string, len(places))
	for i, p := range places {
		latitudes[i], longitudes[i] = weather.Coordinate(p.LatitudeDeg), weather.Coordinate(p.LongitudeDeg)
		if !math.IsNaN(p.ElevationM) {
			heights[i] = strconv.Itoa(int(math.Round(p.ElevationM)))
		}
	}
	q.Set("latitude", strings.Join(latitudes, ","))
	q.Set("longitude", strings.Join(longitudes, ","))
	if !slices.Contains(heights, "") {
		q.Set("elevation", strings.Join(heights, ","))
	}
}

// openMeteoParts splits an answer for several places: a list, or, for one, the
// thing itself.
func openMeteoParts(body []byte, want int) ([]json.RawMessage, error) {
	if want == 1 && !bytes.HasPrefix(bytes.TrimSpace(body), []byte("[")) {
		return []json.RawMessage{body}, nil
	}
	var parts []json.RawMessage
	if err := decodeJSON(OpenMeteoName, body, &parts); err != nil {
		return nil, err
	}
	if len(parts) != want {
		return nil, unreadable(OpenMeteoName, "%d places in the answer to a question for %d", len(parts), want)
	}
	return parts, nil
}

// What a question counts as, by the service's terms: more than ten columns or two
// weeks count in proportion. Members are taken for columns of their own: the terms
// leave that open.
func forecastCost(r *Request) float64 { return max(float64(r.PastDays+r.Days+1)/14, 1) }

func ensembleCost(r *Request) float64 {
	const columns, members = 6, 51
	return columns * members / 10.0 * max(float64(r.Days+1)/14, 1)
}
