package app

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
	"thawline/testdata"
)

// A feedFault is one way in which a service goes wrong. used names the services
// whose answer stands all the same; elsewhere the last good one does.
type feedFault struct {
	name  string
	serve func(w http.ResponseWriter, r *http.Request, whole []byte)
	used  string
}

const everyService = "open_meteo nws met_norway environment_canada"

func status(code int, headers ...string) func(http.ResponseWriter, *http.Request, []byte) {
	return func(w http.ResponseWriter, _ *http.Request, _ []byte) {
		for i := 0; i+1 < len(headers); i += 2 {
			w.Header().Set(headers[i], headers[i+1])
		}
		w.WriteHeader(code)
		_, _ = io.WriteString(w, `{"title":"no","detail":"not now"}`)
	}
}

// body answers 200 with what is made of the whole answer.
func body(make func(whole []byte) []byte) func(http.ResponseWriter, *http.Request, []byte) {
	return func(w http.ResponseWriter, _ *http.Request, whole []byte) {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(make(whole))
	}
}

func text(s string) func(http.ResponseWriter, *http.Request, []byte) {
	return body(func([]byte) []byte { return []byte(s) })
}

// bent walks through the JSON of an answer: numbers below a key, and lists.
func bent(number func(key string, x float64) any, list func(l []any) []any) func(http.ResponseWriter, *http.Request, []byte) {
	return body(func(whole []byte) []byte {
		var v any
		if err := json.Unmarshal(whole, &v); err != nil {
			panic(err)
		}
		out, err := json.Marshal(walk(v, "", number, list))
		if err != nil {
			panic(err)
		}
		return out
	})
}

func walk(v any, path string, number func(string, float64) any, list func([]any) []any) any {
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = walk(v[k], path+"."+strings.ToLower(k), number, list)
		}
		return v
	case []any:
		for i := range v {
			v[i] = walk(v[i], path, number, list)
		}
		if list != nil && len(v) > 20 {
			return list(v)
		}
		return v
	case float64:
		if number != nil && !strings.HasSuffix(path, ".time") && !strings.Contains(path, "coordinates") && !strings.Contains(path, "grid") {
			return number(path, v)
		}
	}
	return v
}

// degrees bends temperatures alone.
func degrees(f func(c float64) any) func(string, float64) any {
	return func(path string, x float64) any {
		if strings.Contains(path, "temperature") && !strings.Contains(path, "uom") {
			return f(x)
		}
		return x
	}
}

func hijacked(do func(c net.Conn, whole []byte)) func(http.ResponseWriter, *http.Request, []byte) {
	return func(w http.ResponseWriter, _ *http.Request, whole []byte) {
		c, _, err := w.(http.Hijacker).Hijack()
		if err != nil {
			panic(err)
		}
		defer c.Close()
		do(c, whole)
	}
}

func packed(b []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, _ = z.Write(b)
	_ = z.Close()
	return out.Bytes()
}

var feedFaults = []feedFault{
	{"nothing wrong", body(func(b []byte) []byte { return b }), everyService},
	{"hangs without a word", func(_ http.ResponseWriter, r *http.Request, _ []byte) {
		select {
		case <-r.Context().Done():
		case <-time.After(2 * time.Second):
		}
	}, ""},
	{"drips a byte at a time", func(w http.ResponseWriter, r *http.Request, b []byte) {
		for i := 0; i < 40 && i < len(b); i++ {
			_, _ = w.Write(b[i : i+1])
			_ = http.NewResponseController(w).Flush()
			select {
			case <-r.Context().Done():
				return
			case <-time.After(50 * time.Millisecond):
			}
		}
	}, ""},
	{"resets the connection", hijacked(func(c net.Conn, _ []byte) { _ = c.(*net.TCPConn).SetLinger(0) }), ""},
	{"breaks off in the middle", hijacked(func(c net.Conn, b []byte) {
		_, _ = fmt.Fprintf(c, "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s", len(b), b[:len(b)/2])
	}), ""},
	{"speaks no HTTP", hijacked(func(c net.Conn, _ []byte) { _, _ = io.WriteString(c, "SSH-2.0-OpenSSH_9.2\r\n") }), ""},
	{"redirects in a circle", func(w http.ResponseWriter, r *http.Request, _ []byte) {
		http.Redirect(w, r, r.URL.String(), http.StatusMovedPermanently)
	}, ""},
	{"204 no content", status(204), ""},
	{"206 a part", func(w http.ResponseWriter, _ *http.Request, b []byte) {
		w.WriteHeader(206)
		_, _ = w.Write(b[:len(b)/2])
	}, ""},
	{"304 without our asking", status(304), ""},
	{"400", status(400), ""}, {"401", status(401), ""}, {"402", status(402), ""}, {"403", status(403), ""}, {"404", status(404), ""},
	{"410", status(410), ""}, {"418", status(418), ""},
	{"429", status(429), ""}, {"429, ask again in an hour", status(429, "Retry-After", "3600"), ""},
	{"429, ask again on a date", status(429, "Retry-After", "Fri, 20 Mar 2026 23:00:00 GMT"), ""},
	{"429, nonsense", status(429, "Retry-After", "soon"), ""},
	{"500", status(500), ""}, {"502", status(502), ""}, {"503", status(503), ""},
	{"503, ask again in a second", status(503, "Retry-After", "1"), ""}, {"504", status(504), ""}, {"521", status(521), ""},
	{"empty", text(""), ""}, {"null", text("null"), ""}, {"an empty object", text("{}"), ""}, {"a list", text("[]"), ""},
	{"a number", text("42"), ""},
	{"a login page", func(w http.ResponseWriter, _ *http.Request, _ []byte) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = io.WriteString(w, "<html><head><title>Hotel guest login</title></head></html>")
	}, ""},
	{"an error with status 200", text(`{"error":true,"reason":"Daily API request limit exceeded. Please try again tomorrow."}`), ""},
	{"cut in half", body(func(b []byte) []byte { return b[:len(b)/2] }), ""},
	{"twice in a row", body(func(b []byte) []byte { return append(b, b...) }), ""},
	{"nested a hundred thousand deep", text(strings.Repeat(`{"hourly":[`, 100_000)), ""},
	{"UTF-16", body(func(b []byte) []byte {
		out := []byte{0xff, 0xfe}
		for _, c := range b {
			out = append(out, c, 0)
		}
		return out
	}), ""},
	{"a broken charset", body(func(b []byte) []byte { return bytes.ReplaceAll(b, []byte("degC"), []byte{0xc3, 0x28}) }),
		"open_meteo met_norway environment_canada"},
	{"said to be packed, and is not", func(w http.ResponseWriter, _ *http.Request, b []byte) {
		w.Header().Set("Content-Encoding", "gzip")
		_, _ = w.Write(b)
	}, ""},
	{"packed", func(w http.ResponseWriter, _ *http.Request, b []byte) {
		w.Header().Set("Content-Encoding", "gzip")
		_, _ = w.Write(packed(b))
	}, everyService},
	{"a gigabyte packed into a megabyte", func(w http.ResponseWriter, _ *http.Request, _ []byte) {
		w.Header().Set("Content-Encoding", "gzip")
		_, _ = w.Write(bomb())
	}, ""},
	{"200 MB", func(w http.ResponseWriter, _ *http.Request, _ []byte) {
		block := bytes.Repeat([]byte(" "), 1<<20)
		for range 200 {
			if _, err := w.Write(block); err != nil {
				return
			}
		}
	}, ""},
	{"nulls for numbers", bent(func(string, float64) any { return nil }, nil), ""},
	{"nulls for temperatures", bent(degrees(func(float64) any { return nil }), nil), ""},
	{"texts for numbers", bent(func(_ string, x float64) any { return fmt.Sprint(x) }, nil), "environment_canada"},
	{"NaN", body(func(b []byte) []byte {
		return regexp.MustCompile(`([:,\[ ])-?\d+\.\d+`).ReplaceAll(b, []byte("${1}NaN"))
	}), ""},
	{"numbers beyond all bounds", bent(degrees(func(float64) any { return 1e300 }), nil), ""},
	{"kelvin sold as °C", bent(degrees(func(c float64) any { return c + 273.15 }), nil), ""},
	{"°F sold as °C", bent(degrees(func(c float64) any { return 32 + 1.8*c }), nil), ""},
	{"always the same temperature", bent(degrees(func(float64) any { return 88.8 }), nil), ""},
	{"times from last to first", bent(nil, func(l []any) []any {
		out := make([]any, len(l))
		for i := range l {
			out[len(l)-1-i] = l[i]
		}
		return out
	}), ""},
	{"every list twice over", bent(nil, func(l []any) []any { return append(append([]any{}, l...), l...) }), "environment_canada"},
	{"a hole of hours in every list", bent(nil, func(l []any) []any { return append(append([]any{}, l[:8]...), l[14:]...) }), ""},
	{"every list cut short", bent(nil, func(l []any) []any { return l[:10] }), "environment_canada"},
	{"an unknown unit", body(func(b []byte) []byte {
		return bytes.ReplaceAll(bytes.ReplaceAll(bytes.ReplaceAll(bytes.ReplaceAll(b, []byte("degC"), []byte("degX")),
			[]byte(`"en":"C"`), []byte(`"en":"X"`)), []byte(`"°C"`), []byte(`"°Ré"`)), []byte(`"celsius"`), []byte(`"réaumur"`))
	}), ""},
}

// bomb is a gigabyte of spaces, packed.
var bomb = func() func() []byte {
	var once []byte
	return func() []byte {
		if once == nil {
			var out bytes.Buffer
			z := gzip.NewWriter(&out)
			block := bytes.Repeat([]byte(" "), 1<<20)
			for range 1024 {
				_, _ = z.Write(block)
			}
			_ = z.Close()
			once = out.Bytes()
		}
		return once
	}
}()

// spoiling serves the demonstration with a fault in the forecast itself.
func spoiling(f *feedFault) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := r.URL.Path
		theForecast := p == "/v1/forecast" || strings.HasPrefix(p, "/gridpoints/") && !strings.HasSuffix(p, "/stations") ||
			strings.HasPrefix(p, "/weatherapi/") || strings.HasPrefix(p, "/collections/citypage")
		if !theForecast {
			testdata.Handler().ServeHTTP(w, r)
			return
		}
		rec := httptest.NewRecorder()
		testdata.Handler().ServeHTTP(rec, r)
		w.Header().Set("Date", testdata.Now().UTC().Format(http.TimeFormat))
		f.serve(w, r, rec.Body.Bytes())
	})
}

// noted is a channel that remembers.
type noted struct{ texts []string }

func (n *noted) Send(_ context.Context, m channel.Message) (string, error) {
	if m.Says(alerts.Evening) || m.Says(alerts.NoForecast) {
		n.texts = append(n.texts, m.Text)
	}
	return "kept", nil
}

// fromOne asks one service, with the last good forecast of three hours ago kept.
func fromOne(t *testing.T, name, address string, transport http.RoundTripper) *source.Chain {
	t.Helper()
	keep, err := source.NewKeep(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	make := func(address string, transport http.RoundTripper) source.Forecaster {
		client, err := source.NewClient(source.Options{Contact: "t@example.org", Version: "test", Timeout: 400 * time.Millisecond,
			FirstWait: time.Millisecond, MaxWait: 5 * time.Millisecond, Transport: transport})
		if err != nil {
			t.Fatal(err)
		}
		switch name {
		case source.OpenMeteoName:
			return source.NewOpenMeteo(client, source.OpenMeteoOptions{BaseURL: address})
		case source.NWSName:
			return source.NewNWS(client, source.NWSOptions{BaseURL: address})
		case source.METNorwayName:
			return source.NewMETNorway(client, source.METNorwayOptions{BaseURL: address})
		}
		return source.NewEnvironmentCanada(client, source.EnvironmentCanadaOptions{BaseURL: address})
	}
	earlier := &source.Chain{Keep: keep, Forecasters: []source.Forecaster{make("https://earlier.example.org", testdata.Transport())}}
	if _, err := Fetch(t.Context(), earlier, demoBush(t), testdata.Now()); err != nil {
		t.Fatal(err)
	}
	return &source.Chain{Keep: keep, Forecasters: []source.Forecaster{make(address, transport)}}
}

func demoSettingsFile(t *testing.T) *config.Config {
	t.Helper()
	text, err := testdata.Files.ReadFile("thawline.yaml")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "thawline.yaml")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(file, nil)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func demoBush(t *testing.T) *forecast.Site {
	t.Helper()
	site := demoSettingsFile(t).Sites[0]
	return &site
}

// anEvening runs the daemon through the evening of the demonstration, three hours
// later than its weather, and returns the texts.
func anEvening(t *testing.T, chain *source.Chain, now time.Time) ([]string, []string) {
	t.Helper()
	a, err := archive.Open(t.Context(), filepath.Join(t.TempDir(), "a.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	site := demoBush(t)
	told := &noted{}
	d := &daemon.Daemon{Archive: a, Ledger: ledger.New(a.DB()), Log: slog.New(slog.DiscardHandler), Metrics: hooks.NewMetrics("test"),
		PlaceKey: PlaceKey}
	at := now.In(site.Zone)
	err = d.Use(daemon.Settings{Sites: []forecast.Site{*site}, Asker: &Provider{Services: chain},
		EveningAt: time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute, RefreshEvery: 24 * time.Hour,
		Thresholds: alerts.Usual,
		Channels:   map[string]channel.Channel{"text": told},
		People: []channel.Person{{ID: "wren", Role: "keeper", Reader: message.Reader{Language: "en", Units: units.US},
			Ways: []channel.Way{{Channel: "text", To: "wren"}}}}}, now.Add(-time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	d.Step(t.Context(), now)
	var passed []string
	if o := d.Outlook(t.Context(), site.ID); o != nil {
		for _, over := range o.Source.PassedOver {
			passed = append(passed, over.String())
		}
	}
	return told.texts, passed
}

// Whatever one service does, in each service's format, the evening text goes out,
// once, and says how old its weather is.
func TestFeedsThatFail(t *testing.T) {
	now := testdata.Now().Add(3 * time.Hour)
	var table strings.Builder
	for i := range feedFaults {
		f := &feedFaults[i]
		seen := map[string][]string{}
		for name := range strings.FieldsSeq(everyService) {
			if testing.Short() && name != strings.Fields(everyService)[i%4] {
				continue // each fault in one of the formats
			}
			server := httptest.NewServer(spoiling(f))
			texts, passed := anEvening(t, fromOne(t, name, server.URL, nil), now)
			server.Close()
			if len(texts) != 1 {
				t.Errorf("%s, %s: %d texts: %q", f.name, name, len(texts), texts)
				continue
			}
			used := strings.Contains(" "+f.used+" ", " "+name+" ")
			old := strings.Contains(texts[0], "OLD WEATHER")
			if old == used || !strings.Contains(strings.ToUpper(texts[0]), "WEATHER") || used && len(passed) > 0 || !used &&
				len(passed) == 0 {
				t.Errorf("%s, %s: %q, passed %q", f.name, name, texts[0], passed)
			}
			what := "its answer stands"
			if len(passed) > 0 {
				what = strings.TrimPrefix(passed[0], name+": ")
			}
			seen[what] = append(seen[what], name)
		}
		for what, names := range seen {
			fmt.Fprintf(&table, "%-34s %-40.120s (%s)\n", f.name, what, strings.Join(names, ", "))
		}
	}
	t.Logf("%d faults in four formats:\n%s", len(feedFaults), table.String())
}

// What can't be spoiled inside an answer: addresses, certificates and clocks.
func TestFeedsOutOfReach(t *testing.T) {
	now := testdata.Now().Add(3 * time.Hour)
	secure := httptest.NewTLSServer(testdata.Handler())
	defer secure.Close()
	secure.Config.ErrorLog = log.New(io.Discard, "", 0)
	stranger := httptest.NewServer(http.NotFoundHandler())
	closed := stranger.URL
	stranger.Close()
	for name, c := range map[string]struct {
		address   string
		transport http.RoundTripper
	}{
		"a certificate of nobody": {secure.URL, &http.Transport{TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12}}},
		"nobody listens":          {closed, nil},
		"no such host":            {"http://weather.invalid", nil},
	} {
		texts, passed := anEvening(t, fromOne(t, source.OpenMeteoName, c.address, c.transport), now)
		if len(texts) != 1 || !strings.Contains(texts[0], "OLD WEATHER, 3 hours") || len(passed) != 1 {
			t.Errorf("%s: %q %q", name, texts, passed)
		}
		t.Logf("%s: %s", name, passed)
	}
}
