package testdata

import (
	"bytes"
	"io"
	"net/http"
	"strings"
)

// route gives the file that answers a request, "" for none.
func route(r *http.Request) string {
	switch path := r.URL.Path; {
	case path == "/v1/forecast" && r.URL.Query().Get("timezone") == "auto":
		return "open_meteo/zone.json"
	case path == "/v1/forecast":
		return "open_meteo/forecast.json"
	case path == "/v1/ensemble":
		return "open_meteo/ensemble.json"
	case path == "/v1/archive":
		return "open_meteo/archive.json"
	case strings.HasPrefix(path, "/points/"):
		return "nws/point.json"
	case strings.HasPrefix(path, "/gridpoints/") && strings.HasSuffix(path, "/stations"):
		return "nws/stations.json"
	case strings.HasPrefix(path, "/gridpoints/"):
		return "nws/gridpoint.json"
	case strings.HasPrefix(path, "/stations/"):
		return "nws/observations.json"
	case strings.HasPrefix(path, "/weatherapi/locationforecast/2.0/"):
		return "met_norway/complete.json"
	case strings.HasPrefix(path, "/collections/citypageweather-realtime/"):
		return "environment_canada/city-page.json"
	case strings.HasPrefix(path, "/collections/climate-hourly/"):
		return "environment_canada/climate-hourly.json"
	}
	return ""
}

// noWarnings are where official warnings are asked for: there were none.
var noWarnings = map[string]bool{"/alerts/active": true, "/weatherapi/metalerts/2.0/current.json": true,
	"/collections/weather-alerts/items": true}

// Handler answers as the services did on the evening of the demonstration.
func Handler() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Date", Now().UTC().Format(http.TimeFormat))
		if noWarnings[r.URL.Path] {
			w.Header().Set("Content-Type", "application/geo+json")
			_, _ = io.WriteString(w, `{"type":"FeatureCollection","features":[]}`)
			return
		}
		name := route(r)
		body, err := Files.ReadFile(name)
		if err != nil {
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusNotFound)
			_, _ = io.WriteString(w, `{"title":"Not Found","status":404,"detail":"`+r.URL.Path+` is not part of the demonstration"}`)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(body)
	})
}

// Transport serves the same from memory: no socket is opened.
func Transport() http.RoundTripper { return memory{Handler()} }

type memory struct{ handler http.Handler }

func (m memory) RoundTrip(r *http.Request) (*http.Response, error) {
	w := &answer{header: http.Header{}, status: http.StatusOK}
	m.handler.ServeHTTP(w, r)
	return &http.Response{
		Status: http.StatusText(w.status), StatusCode: w.status, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
		Header: w.header, Body: io.NopCloser(&w.body), ContentLength: int64(w.body.Len()), Request: r,
	}, nil
}

type answer struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (a *answer) Header() http.Header         { return a.header }
func (a *answer) WriteHeader(status int)      { a.status = status }
func (a *answer) Write(p []byte) (int, error) { return a.body.Write(p) }
