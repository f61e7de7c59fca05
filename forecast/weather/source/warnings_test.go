package source

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// Places where each service warns.
var (
	vermont = bush
	quebec  = weather.Place{LatitudeDeg: 46.2, LongitudeDeg: -71.6, ElevationM: 200}
	oslo    = weather.Place{LatitudeDeg: 60.1, LongitudeDeg: 10.6, ElevationM: 200}
)

var warnNow = time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)

// Bodies by the shape that each service publishes: its field names and, but for the
// storm itself, values as its documentation shows them.
const (
	nwsBox   = `{"type":"Polygon","coordinates":[[[-73,44],[-72,44],[-72,45],[-73,45],[-73,44]]]}`
	nwsStorm = `{"id":"https://api.weather.gov/alerts/urn:oid:2.49.0.1.840.0.a1","type":"Feature","geometry":null,"properties":{"@type":"wx:Alert","id":"urn:oid:2.49.0.1.840.0.a1","areaDesc":"Orleans",
		"sent":"2026-03-20T05:00:00-04:00","effective":"2026-03-20T05:00:00-04:00","onset":"2026-03-20T18:00:00-04:00","expires":"2026-03-20T17:00:00-04:00","ends":"2026-03-21T12:00:00-04:00","status":"Actual","messageType":"Alert",
		"category":"Met","severity":"Severe","certainty":"Likely","urgency":"Expected","event":"Ice Storm Warning","sender":"w-nws.webmaster@noaa.gov","senderName":"NWS Burlington VT",
		"headline":"Ice Storm Warning issued March 20 at 5:00AM EDT until March 21 at 12:00PM EDT by NWS Burlington VT","references":[],"replacedBy":null}}`
	metStorm = `{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[10,59],[11,59],[11,61],[10,61],[10,59]]]},"properties":{"area":"Oslo","awareness_level":"3; orange; Severe","awareness_type":"1; Wind",
		"certainty":"Likely","event":"wind","eventAwarenessName":"Strong wind gusts","eventEndingTime":"2026-03-21T12:00:00+00:00","id":"2.49.0.1.578.0.20260320051538.094","severity":"Severe","status":"Actual",
		"title":"Strong wind gusts, orange level, Oslo, 2026-03-20T22:00:00+00:00, 2026-03-21T12:00:00+00:00","type":"Alert","web":"https://www.met.no/vaer-og-klima/vind"},
		"when":{"interval":["2026-03-20T22:00:00+00:00","2026-03-21T12:00:00+00:00"]}}`
	ecStorm = `{"id":"1157231192044178045202603200501_fea1-1968","type":"Feature","geometry":{"type":"MultiPolygon","coordinates":[[[[-72,46],[-71,46],[-71,47],[-72,47],[-72,46]]]]},"properties":{"alert_code":"FZR","alert_type":"warning",
		"alert_name_en":"freezing rain warning","alert_name_fr":"avertissement de pluie verglaçante","feature_name_en":"Lotbinière","feature_name_fr":"Lotbinière","feature_id":"fea1-1968","province":"QC","risk_colour_en":"orange","status_en":"issued",
		"publication_datetime":"2026-03-20T09:00:00.000Z","validity_datetime":"2026-03-20T22:00:00.000Z","event_end_datetime":"2026-03-21T12:00:00.000Z","expiration_datetime":"2026-03-21T01:00:00.000Z"}}`
)

func features(f ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(f, ",") + `]}`
}

// reading is one service's reader, a storm of it and where it is.
type reading struct {
	name  string
	read  func(body []byte, place weather.Place, now time.Time) ([]weather.Warning, error)
	storm string
	place weather.Place
	event weather.Quoted
	// by kind of case, replacements in the storm
	update, cancel, test, elsewhere, badTime []string
}

var readings = []reading{
	{NWSName, readNWSAlerts, nwsStorm, vermont, weather.Quoted{"en": "Ice Storm Warning"},
		[]string{`0.a1"`, `0.a2"`, `"messageType":"Alert"`, `"messageType":"Update"`, `"references":[]`,
			`"references":[{"@id":"x","identifier":"urn:oid:2.49.0.1.840.0.a1","sender":"w","sent":"2026-03-20T05:00:00-04:00"}]`,
			`2026-03-21T12:00:00-04:00`, `2026-03-21T14:00:00-04:00`},
		[]string{`0.a1"`, `0.a3"`, `"messageType":"Alert"`, `"messageType":"Cancel"`, `"references":[]`,
			`"references":[{"identifier":"urn:oid:2.49.0.1.840.0.a1","sent":"2026-03-20T05:00:00-04:00"}]`},
		[]string{`"Actual"`, `"Exercise"`}, []string{`"geometry":null`, `"geometry":` + strings.ReplaceAll(nwsBox, "-72", "-72.5")},
		[]string{`"2026-03-20T18:00:00-04:00"`, `"tonight"`}},
	{METNorwayName, readMetAlerts, metStorm, oslo, weather.Quoted{"en": "Strong wind gusts"},
		[]string{`.094"`, `.095"`, `"type":"Alert"`,
			`"type":"Update","references":"noreply@met.no,2.49.0.1.578.0.20260320051538.094,2026-03-20T05:15:38+00:00"`,
			`2026-03-21T12:00:00+00:00`, `2026-03-21T14:00:00+00:00`},
		[]string{`.094"`, `.096"`, `"type":"Alert"`,
			`"type":"Cancel","references":["noreply@met.no,2.49.0.1.578.0.20260320051538.094,2026-03-20T05:15:38+00:00"]`},
		[]string{`"Actual"`, `"Test"`}, []string{`[10,59],[11,59],[11,61],[10,61],[10,59]`, `[8,59],[9,59],[9,61],[8,61],[8,59]`},
		[]string{`["2026-03-20T22:00:00+00:00"`, `["in the evening"`}},
	{EnvironmentCanadaName, readECAlerts, ecStorm, quebec,
		weather.Quoted{"en": "freezing rain warning", "fr": "avertissement de pluie verglaçante"},
		[]string{`0501_fea`, `0502_fea`, `"issued"`, `"continued"`, `2026-03-20T09:00`, `2026-03-20T11:00`, `2026-03-21T12:00`,
			`2026-03-21T14:00`},
		[]string{`0501_fea`, `0503_fea`, `"issued"`, `"ended"`, `2026-03-20T09:00`, `2026-03-20T11:30`},
		[]string{`"alert_type":"warning"`, `"alert_type":"test"`},
		[]string{`[[-72,46],[-71,46],[-71,47],[-72,47],[-72,46]]`, `[[-70,46],[-69,46],[-69,47],[-70,47],[-70,46]]`},
		[]string{`"2026-03-20T22:00:00.000Z"`, `"ce soir"`}},
}

func changed(storm string, pairs []string) string {
	return strings.NewReplacer(pairs...).Replace(storm)
}

func TestOfficialWarnings(t *testing.T) {
	for _, s := range readings {
		t.Run(s.name, func(t *testing.T) {
			update, cancel := changed(s.storm, s.update), changed(s.storm, s.cancel)
			ends := time.Date(2026, 3, 21, 12, 0, 0, 0, time.UTC)
			if s.name == NWSName {
				ends = ends.Add(4 * time.Hour)
			}
			for name, c := range map[string]struct {
				body string
				now  time.Time
				to   time.Time // zero for none
			}{
				"storm":                 {features(s.storm), warnNow, ends},
				"update":                {features(s.storm, update), warnNow, ends.Add(2 * time.Hour)},
				"update first":          {features(update, s.storm), warnNow, ends.Add(2 * time.Hour)},
				"cancel":                {features(s.storm, cancel), warnNow, time.Time{}},
				"cancel first":          {features(cancel, s.storm), warnNow, time.Time{}},
				"cancel alone":          {features(cancel), warnNow, time.Time{}},
				"expired":               {features(s.storm), ends, time.Time{}},
				"an hour before it was": {features(s.storm), ends.Add(-time.Hour), ends},
				"test":                  {features(changed(s.storm, s.test)), warnNow, time.Time{}},
				"elsewhere":             {features(changed(s.storm, s.elsewhere)), warnNow, time.Time{}},
				"twice":                 {features(s.storm, s.storm), warnNow, ends},
				"none":                  {features(), warnNow, time.Time{}},
			} {
				list, err := s.read([]byte(c.body), s.place, c.now)
				if err != nil {
					t.Errorf("%s: %v", name, err)
					continue
				}
				if c.to.IsZero() {
					if len(list) != 0 {
						t.Errorf("%s: %d warnings, want none", name, len(list))
					}
					continue
				}
				if len(list) != 1 || !list[0].To.Equal(c.to) {
					t.Errorf("%s: got %d warnings, want one until %s", name, len(list), c.to)
					continue
				}
				w := list[0]
				if fmt.Sprint(w.Event) != fmt.Sprint(s.event) || !w.Severe() ||
					!w.From.Equal(time.Date(2026, 3, 20, 22, 0, 0, 0, time.UTC)) || w.Source != s.name ||
					w.Issuer.In("en") == "" || !strings.HasPrefix(w.URL.In("fr"), "https://") || w.ID == "" || w.Thread == "" {
					t.Errorf("%s: %v %s from %s by %v, page %v, id %q", name, w.Event, w.Severity, w.From, w.Issuer, w.URL, w.ID)
				}
			}
			first, _ := s.read([]byte(features(s.storm)), s.place, warnNow)
			later, _ := s.read([]byte(features(s.storm, update)), s.place, warnNow)
			if len(first) != 1 || len(later) != 1 || first[0].Thread != later[0].Thread || first[0].ID == later[0].ID {
				t.Error("an update is not of one thread with what it replaces, or has its id")
			}
		})
	}
}

// A body that can't be read whole is never taken for "no warnings".
func TestFaultyWarningBodies(t *testing.T) {
	for _, s := range readings {
		t.Run(s.name, func(t *testing.T) {
			whole := features(s.storm)
			for name, body := range map[string]string{
				"empty": "", "truncated": whole[:len(whole)/2], "page": "<html><title>Access Denied</title></html>",
				"no list": `{"type":"FeatureCollection"}`, "null list": `{"features":null}`, "null": "null",
				"a list": "[]", "a text": `{"features":"none"}`, "no moment": features(changed(s.storm, s.badTime)),
				"no fields":  features(`{"type":"Feature","geometry":null,"properties":{"status":"Actual"}}`),
				"one of two": features(s.storm, changed(s.storm, s.badTime)),
				"a line": features(strings.NewReplacer(`"geometry":null`,
					`"geometry":{"type":"LineString","coordinates":[[1,2],[3,4]]}`, `"MultiPolygon"`, `"Line"`, `"Polygon"`,
					`"Line"`).Replace(s.storm)),
				"two corners": features(strings.Replace(s.storm,
					s.storm[strings.Index(s.storm, `"geometry":`):strings.Index(s.storm, `"properties"`)],
					`"geometry":{"type":"Polygon","coordinates":[[[1,2],[3,4]]]},`, 1)),
			} {
				if list, err := s.read([]byte(body), s.place, warnNow); err == nil {
					t.Errorf("%s: %d warnings and no fault", name, len(list))
				} else if !strings.HasPrefix(err.Error(), s.name+" warnings: ") {
					t.Errorf("%s: %v", name, err)
				}
			}
		})
	}
}

// warningServer answers for all services; status 0 is 200.
func warningServer(t *testing.T, answer func(service string) (status int, body string)) (base string, asked func() string) {
	t.Helper()
	var paths []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		service := map[string]string{"/alerts/active": NWSName, "/weatherapi/metalerts/2.0/current.json": METNorwayName,
			"/collections/weather-alerts/items": EnvironmentCanadaName}[r.URL.Path]
		paths = append(paths, r.URL.Path+"?"+r.URL.RawQuery)
		status, body := answer(service)
		w.Header().Set("Content-Type", "application/json")
		if status != 0 {
			w.WriteHeader(status)
		}
		_, _ = w.Write([]byte(body))
	}))
	t.Cleanup(server.Close)
	return server.URL, func() string {
		all := strings.Join(paths, " ")
		paths = nil
		return all
	}
}

func watchOf(t *testing.T, base string, keep *Keep) *Chain {
	t.Helper()
	c := newTestClient(t, func(o *Options) { o.Retries = -1 })
	w := &Chain{Keep: keep}
	for _, f := range allServices(c, base) {
		if one, warns := f.(Warner); warns {
			w.Warners = append(w.Warners, one)
		}
	}
	return w
}

// Who is asked goes by the place, and by where the service covers it.
func TestWhoIsAskedForWarnings(t *testing.T) {
	base, asked := warningServer(t, func(string) (int, string) { return 0, features() })
	watch := watchOf(t, base, nil)
	for _, c := range []struct {
		place weather.Place
		state weather.WarningState
		asked string
	}{
		{vermont, weather.WarningsKnown, "/alerts/active?point=44.62%2C-72.31"},
		{quebec, weather.WarningsKnown, "/collections/weather-alerts/items?bbox=-71.6%2C46.2%2C-71.5%2C46.3&f=json&limit=200"},
		{oslo, weather.WarningsKnown, "/weatherapi/metalerts/2.0/current.json?lang=en&lat=60.1&lon=10.6"},
		{weather.Place{LatitudeDeg: 52.5, LongitudeDeg: 13.4}, weather.WarningsUnavailable, ""},
		{weather.Place{LatitudeDeg: 45.03, LongitudeDeg: -72.31}, weather.WarningsKnown,
			"/alerts/active?point=45.03%2C-72.31 /collections/weather-alerts/items?bbox=-72.4%2C45%2C-72.3%2C45.1&f=json&limit=200"},
	} {
		got, failed := watch.Warnings(context.Background(), "bush", c.place, warnNow)
		if all := asked(); got.State != c.state || all != c.asked || len(failed) != 0 || len(got.List) != 0 ||
			(c.state == weather.WarningsKnown) != got.KnownAt.Equal(warnNow) {
			t.Errorf("%.1f N: %s at %s, asked %q, %d failed; want %s, %q", c.place.LatitudeDeg, got.State, got.KnownAt, all,
				len(failed), c.state, c.asked)
		}
	}
}

// Where the service can't be reached the last good warnings stand until they expire, and
// the state says that they are not known.
func TestWarningsThatCantBeReached(t *testing.T) {
	keep, err := NewKeep(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	status, body := 0, features(nwsStorm)
	base, _ := warningServer(t, func(string) (int, string) { return status, body })
	ask := func(after time.Duration) weather.Warnings {
		got, failed := watchOf(t, base, keep).Warnings(context.Background(), "bush", vermont, warnNow.Add(after))
		if (len(failed) > 0) != (got.State == weather.WarningsUnknown) {
			t.Errorf("%s with %d failed", got.State, len(failed))
		}
		return got
	}
	if got := ask(0); got.State != weather.WarningsKnown || len(got.List) != 1 {
		t.Fatalf("%s, %d warnings", got.State, len(got.List))
	}
	for name, fault := range map[string]struct {
		status int
		body   string
	}{"down": {503, ""}, "page": {0, "<html>"}, "half": {0, body[:200]}, "nothing": {0, ""}, "refused": {403, ""},
		"outside": {404, "{}"}, "bad request": {400, "{}"}} {
		status, body = fault.status, fault.body
		if got := ask(3 * time.Hour); got.State != weather.WarningsUnknown || !got.KnownAt.Equal(warnNow) || len(got.List) != 1 ||
			got.List[0].Event.In("en") != "Ice Storm Warning" {
			t.Errorf("%s: %s, known at %s, %d warnings", name, got.State, got.KnownAt, len(got.List))
		}
		if got := ask(40 * time.Hour); got.State != weather.WarningsUnknown || len(got.List) != 0 {
			t.Errorf("%s, after it is over: %s, %d warnings", name, got.State, len(got.List))
		}
	}
	status, body = 0, features()
	if got := ask(4 * time.Hour); got.State != weather.WarningsKnown || len(got.List) != 0 {
		t.Errorf("called off: %s, %d warnings", got.State, len(got.List))
	}
	status = 500
	if got := ask(5 * time.Hour); got.State != weather.WarningsUnknown || len(got.List) != 0 ||
		!got.KnownAt.Equal(warnNow.Add(4*time.Hour)) {
		t.Errorf("down again: %s since %s, %d warnings", got.State, got.KnownAt, len(got.List))
	}
}

// A service whose warnings fail is still asked for its forecasts.
func TestFaultsOfWarningsLeaveForecastsAlone(t *testing.T) {
	base, _ := warningServer(t, func(service string) (int, string) {
		if service == NWSName {
			return 500, ""
		}
		return 0, `{"properties":{"gridId":"BTV","gridX":1,"gridY":2}}`
	})
	c := newTestClient(t, func(o *Options) { o.Retries = -1 })
	n := NewNWS(c, NWSOptions{BaseURL: base})
	for range 5 {
		if _, err := n.Warnings(context.Background(), vermont, warnNow); err == nil {
			t.Fatal("no fault")
		}
	}
	if _, err := n.cell(context.Background(), vermont); err != nil {
		t.Error(err)
	}
}
