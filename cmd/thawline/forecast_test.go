package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/cli"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// run executes a command line with an environment of its own.
func run(t *testing.T, env map[string]string, args ...string) (string, error) {
	t.Helper()
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	t.Setenv("THAWLINE_WEATHER_CONTACT", "test@example.org")
	for k, v := range env {
		t.Setenv(k, v)
	}
	root := rootCommand()
	var out, log bytes.Buffer
	root.SetOut(&out)
	root.SetErr(&log)
	root.SetArgs(args)
	err := root.ExecuteContext(t.Context())
	return out.String(), err
}

var names = []string{"open_meteo", "nws", "met_norway", "environment_canada"}

func services(base string, sources ...string) map[string]string {
	env := map[string]string{"THAWLINE_WEATHER_SOURCES": strings.Join(sources, ",")}
	for _, n := range names {
		env["THAWLINE_WEATHER_"+strings.ToUpper(n)+"_BASE_URL"] = base
	}
	return env
}

var here = []string{"forecast", "--at", "44.62,-72.31", "--taps", "100", "--container", "2gal", "--units", "us", "--now",
	"2026-03-20T21:30:00Z"}

type parsed struct {
	Site   string `json:"site"`
	Source struct {
		Name       string `json:"name"`
		Members    int    `json:"members"`
		Kept       bool   `json:"kept"`
		PassedOver []struct {
			Service string `json:"service"`
			Kind    string `json:"kind"`
			Detail  string `json:"detail"`
		} `json:"passed_over"`
		Age float64 `json:"age_hours"`
	} `json:"source"`
	Bush struct {
		Zone string `json:"zone"`
	} `json:"bush"`
	Days []struct {
		Date    string  `json:"date"`
		P       float64 `json:"run_probability"`
		Score   int     `json:"flow_score"`
		Class   string  `json:"class"`
		VolumeL struct {
			P10 *float64 `json:"p10"`
			P50 *float64 `json:"p50"`
			P90 *float64 `json:"p90"`
		} `json:"volume_l"`
		TemperatureC struct {
			Min *float64 `json:"min"`
			Max *float64 `json:"max"`
		} `json:"temperature_c"`
	} `json:"days"`
	Work struct {
		Groups []any `json:"groups"`
	} `json:"work"`
	Boil []struct {
		PressureKnown bool    `json:"pressure_known"`
		DrawOffC      float64 `json:"draw_off_c"`
	} `json:"boil"`
	Season      map[string]any                `json:"season"`
	Alerts      []struct{ Kind, Text string } `json:"alerts"`
	EveningText string                        `json:"evening_text"`
	Cautions    []string                      `json:"cautions"`
	Attribution []any                         `json:"attribution"`
}

func parse(t *testing.T, out string) parsed {
	t.Helper()
	var p parsed
	d := json.NewDecoder(strings.NewReader(out))
	if err := d.Decode(&p); err != nil {
		t.Fatalf("%v in %.200s", err, out)
	}
	if d.More() {
		t.Fatal("more than one document")
	}
	return p
}

func TestForecastFromEachServiceAlone(t *testing.T) {
	server := httptest.NewServer(testdata.Handler())
	defer server.Close()
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			out, err := run(t, services(server.URL, name), append(here, "--json")...)
			if err != nil {
				t.Fatal(err)
			}
			o := parse(t, out)
			if o.Source.Name != name || len(o.Days) < 5 || o.Days[0].Date != "2026-03-20" || o.Bush.Zone != "America/New_York" ||
				o.Days[1].P < 0.4 || len(o.Attribution) == 0 || o.EveningText == "" || len(o.Alerts) == 0 ||
				o.Alerts[0].Kind != "evening" || o.Alerts[0].Text != o.EveningText || len(o.Work.Groups) == 0 {
				t.Errorf("%.1500s", out)
			}
			// Two of them say nothing of the air pressure: there is a fire all the same.
			if len(o.Boil) != len(o.Days) || o.Boil[1].DrawOffC < 102 || o.Boil[1].DrawOffC > 105 ||
				o.Boil[0].PressureKnown != o.Boil[1].PressureKnown ||
				o.Boil[1].PressureKnown != (name == "open_meteo" || name == "met_norway") {
				t.Errorf("%+v", o.Boil)
			}
		})
	}
}

func TestForecastFallsThroughAndSaysSo(t *testing.T) {
	broken := map[string]http.HandlerFunc{
		"answered 503 (Service Unavailable)": func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Retry-After", "600")
			w.WriteHeader(http.StatusServiceUnavailable)
		},
		"a web page instead of data": func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("<html>")) },
		"breaks off":                 func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(`{"hourly":{"ti`)) },
	}
	good := httptest.NewServer(testdata.Handler())
	defer good.Close()
	for want, handler := range broken {
		t.Run(want, func(t *testing.T) {
			bad := httptest.NewServer(handler)
			defer bad.Close()
			env := services(good.URL, names...)
			env["THAWLINE_WEATHER_OPEN_METEO_BASE_URL"], env["THAWLINE_WEATHER_NWS_BASE_URL"] = bad.URL, bad.URL
			out, err := run(t, env, here...)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Count(out, want) < 2 || !strings.Contains(out, "Not used: Open-Meteo: ") ||
				!strings.Contains(out, "Not used: US National Weather Service: ") ||
				!strings.Contains(out, "Weather: MET Norway, issued") || !strings.Contains(out, "Based on data from MET Norway") {
				t.Errorf("%s", out)
			}
		})
	}
}

func TestForecastFromTheLastGoodOne(t *testing.T) {
	server := httptest.NewServer(testdata.Handler())
	env := services(server.URL, "met_norway")
	data := t.TempDir()
	env["THAWLINE_DATA_DIR"] = data
	if _, err := run(t, env, here...); err != nil {
		t.Fatal(err)
	}
	server.Close()
	later := append(append([]string{}, here[:len(here)-1]...), "2026-03-21T21:30:00Z")
	out, err := run(t, env, later...)
	if err != nil || !strings.Contains(out, "NO SERVICE ANSWERED") || !strings.Contains(out, "OLD WEATHER, 27 hours") {
		t.Errorf("%v\n%s", err, out)
	}
	env["THAWLINE_DATA_DIR"] = t.TempDir()
	if _, err := run(t, env, here...); err == nil || !strings.Contains(err.Error(), "check the internet connection and weather.sources") {
		t.Errorf("%v", err)
	}
}

func TestDemo(t *testing.T) {
	began := time.Now()
	out, err := run(t, nil, "demo")
	took := time.Since(began)
	if err != nil {
		t.Fatal(err)
	}
	// The short pass looks for races, which makes everything ten times as slow: it says
	// nothing of what people wait for.
	if took > 5*time.Second && !testing.Short() {
		t.Errorf("after %s, not within five seconds", took)
	}
	for _, want := range []string{"Upper Ridge, 230 taps", "Tomorrow", "Gather", "draws off at", "never leave a pan",
		"Weather data by Open-Meteo.com", "51 forecasts", "Evening text"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	french, err := run(t, nil, "demo", "--lang", "fr", "--units", "metric")
	if err != nil || !strings.Contains(french, "Prudence") || !strings.Contains(french, "litres") ||
		strings.Contains(french, "<no value>") {
		t.Errorf("%v\n%s", err, french)
	}
	if o := func() string { s, _ := run(t, nil, "demo", "--json"); return s }(); parse(t, o).Site != "kettle" {
		t.Error(o)
	}
}

func TestWrongUse(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"forecast"}, "no site: name a settings file with --config, or give --at LAT,LON --taps N --container 7.5L"},
		{[]string{"forecast", "--at", "44,-72"},
			"--taps: give the number of taps, one or more\n--container: give what hangs at each tap, such as 7.5L or \"2 US gal\""},
		{[]string{"forecast", "--at", "44", "--taps", "5", "--container", "2gal"},
			"--at: 44: not a place; write degrees north and east, such as 44.21, -72.84 or 44.21 N, 72.84 W"},
		{[]string{"forecast", "--at", "42,-60", "--taps", "5", "--container", "7L"}, "lies at sea"},
		{[]string{"forecast", "--at", "44,-72", "--taps", "5", "--container", "7L", "--tz", "America/New_Yrok"},
			`did you mean "America/New_York"?`},
		{[]string{"forecast", "--now", "yesterday"}, "--now yesterday: not a moment; write it like 2026-03-08T22:00:00Z"},
		{[]string{"forecast", "--units", "metrical"}, "--units: "},
		{[]string{"forecast", "--lang", "de"}, "--lang de: write en or fr"},
		{[]string{"forecast", "--tap", "5"}, "unknown flag: --tap; see thawline forecast --help"},
		{[]string{"forecast", "now"}, `"now" is one word too many for thawline forecast; see thawline forecast --help`},
		{[]string{"backtest"}, "which backtest? see thawline backtest --help"},
		{[]string{"backtest", "thaw"}, "give a file to learn from with --train and one to score with --test"},
		{[]string{"foretell"}, `foretell: no such command; see thawline --help`},
	} {
		_, err := run(t, nil, c.args...)
		var wrong *cli.UsageError
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v\n got  %v\n want %s", c.args, err, c.want)
		} else if !errors.As(err, &wrong) && c.args[0] != "foretell" {
			t.Errorf("%v is not told as wrong use", c.args)
		}
	}
}

// The season of 2015 on a hill in Massachusetts (weather CC0, Baumer et al., R
// package macleish), where it lies beside the checkout.
func TestReplayOf2015(t *testing.T) {
	file := beside.File(t, "data/hill-station-2015-hourly.csv")
	ask := func(now string) parsed {
		out, err := run(t, nil, "forecast", "--weather", file, "--at", "42.4485,-72.6806", "--taps", "50", "--container", "7.5L",
			"--now", now, "--json")
		if err != nil {
			t.Fatal(err)
		}
		return parse(t, out)
	}
	o := ask("2015-03-08T22:00:00Z")
	if o.Days[0].Date != "2015-03-08" {
		t.Errorf("days begin with %s", o.Days[0].Date)
	}
	for _, d := range o.Days[1:4] { // 9 to 11 March: the first thaw after weeks of deep frost gives little
		if d.P < 0.05 || d.P > 0.6 || d.Score < 5 {
			t.Errorf("%s: %.2f, score %d", d.Date, d.P, d.Score)
		}
	}
	if d := ask("2015-03-31T22:00:00Z").Days[1]; d.P < 0.6 || d.Score < 40 { // trees that are awake
		t.Errorf("%s: %.2f, score %d", d.Date, d.P, d.Score)
	}
	for _, now := range []string{"2015-02-22T22:00:00Z", "2015-03-05T22:00:00Z"} { // cold snaps without thaw the day after
		if d := ask(now).Days[1]; d.P > 0.02 || d.Score > 3 {
			t.Errorf("%s: %.2f, score %d", d.Date, d.P, d.Score)
		}
	}
}

// Options that would do nothing, or are no numbers, are said to be wrong.
func TestOptionsThatDoNotFit(t *testing.T) {
	config, env := hillSettings(t)
	for want, args := range map[string][]string{
		"--taps describes a bush without settings": {"forecast", "--config", config, "--taps", "5"},
		"write a whole number":                     {"forecast", "--at", "44.6,-72.3", "--taps", "ninety"},
		"write a number, such as 2.1":              {"boil", "--sap", "40L", "--brix", "sweet"},
		"it ends before it begins": {"rounds", "--config", config, "--weather", "../../testdata/weather.csv", "--now",
			"2026-03-20T21:30:00Z", "--forbid", "2026-03-22 12:00/2026-03-22 08:00"},
		"no pail or bag at a tap is that size": {"forecast", "--at", "44.6,-72.3", "--taps", "5", "--container", "3000 US gal"},
	} {
		if _, err := run(t, env, args...); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v", args, err)
		}
	}
}

// Where neither air pressure nor height is known no draw-off point is made up.
func TestDrawOffIsNotMadeUp(t *testing.T) {
	server := httptest.NewServer(testdata.Handler())
	defer server.Close()
	env := services(server.URL, "environment_canada")
	out, err := run(t, env, here...)
	if err != nil || !strings.Contains(out, "Neither air pressure nor the height of the bush is known") ||
		strings.Contains(out, "by the height alone") {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err = run(t, env, append(here, "--elevation", "1000ft")...); err != nil || !strings.Contains(out, "by the height alone") {
		t.Errorf("%v\n%s", err, out)
	}
}
