package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast"
)

// bushOfDoors has pails, two lines that end in one tank, and one with a tank of its own.
const bushOfDoors = `
units: metric
language: %s
sites:
  - id: hill
    latitude: 42.4485
    longitude: -72.6806
    zone: America/New_York
    elevation: 251m
    tanks: [{id: big, volume: 1000 L}, {id: own, volume: 500 L}]
    groups:
      - {id: north, name: North slope, taps: 60, collected_by: pail, container: 15 L}
      - {id: lane, name: Lane, taps: 100, collected_by: tubing_gravity, tank: big}
      - {id: brook, name: Brook, taps: 40, collected_by: tubing_gravity, tank: big}
      - {id: far, name: Far, taps: 50, collected_by: tubing_gravity, tank: own}
people:
  - {id: kim, name: Kim, role: keeper, channels: text, phone_file: keeper}
  - {id: cody, name: Cody, role: crew, channels: text, phone_file: crew}
  - {id: vera, name: Vera, role: viewer, channels: text, phone_file: viewer}
channels: [{id: text, kind: text_gateway, url: "http://127.0.0.1:1", form: "to={to}&body={text}"}]
serve: {login: always}
`

var phones = map[auth.Role]string{auth.Keeper: "+18025550101", auth.Crew: "+18025550102", auth.Viewer: "+18025550103"}

// doors is a whole program with all ways in.
type doors struct {
	t        *testing.T
	lang     string
	now      time.Time
	app      *app.App
	handler  http.Handler
	site     *forecast.Site
	config   string
	env      map[string]string
	texts    string // the address of texts
	sessions map[auth.Role]string
	asked    int
}

func openDoors(t *testing.T, lang string) *doors {
	t.Helper()
	d := &doors{t: t, lang: lang, env: map[string]string{"THAWLINE_DATA_DIR": t.TempDir()}, sessions: map[auth.Role]string{}}
	dir := t.TempDir()
	d.config = filepath.Join(dir, "thawline.yaml")
	for name, text := range map[string]string{"thawline.yaml": fmt.Sprintf(bushOfDoors, lang), "keeper": phones[auth.Keeper],
		"crew": phones[auth.Crew], "viewer": phones[auth.Viewer]} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	settings, err := config.Load(d.config, []string{"THAWLINE_DATA_DIR=" + d.env["THAWLINE_DATA_DIR"]})
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	d.now = time.Date(2026, 2, 1, 15, 0, 0, 0, zone)
	d.app, err = app.Open(t.Context(), app.Env{Version: "test", Log: slog.New(slog.DiscardHandler),
		Clock: func() time.Time { return d.now }, Frozen: true}, settings, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.app.Close() })
	d.handler, d.site = d.app.Handler(), &settings.Sites[0]
	code, err := d.app.Auth.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	keeper := d.ask("POST", "/setup", "application/x-www-form-urlencoded",
		url.Values{"code": {code}, "person": {"kim"}, "password": {"sap runs at noon"}}.Encode())
	d.sessions[auth.Keeper] = cookiesOf(keeper)
	for _, role := range []auth.Role{auth.Viewer, auth.Crew} {
		token, err := d.app.Auth.MakeLink(t.Context(), auth.Link{Kind: auth.CrewLink, Name: string(role), Role: role, Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		d.sessions[role] = cookiesOf(d.ask("POST", "/l/"+token, "application/x-www-form-urlencoded", ""))
	}
	address, err := daemon.Address(t.Context(), d.app.Daemon.Ledger, "in", "hill")
	if err != nil {
		t.Fatal(err)
	}
	d.texts = "/in/" + address
	return d
}

// cookiesOf are those that an answer sets, as a browser gives them back.
func cookiesOf(w *httptest.ResponseRecorder) string {
	var all []string
	for _, c := range w.Result().Cookies() {
		all = append(all, c.Name+"="+c.Value)
	}
	return strings.Join(all, "; ")
}

func (d *doors) ask(method, path, kind, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://127.0.0.1:8787"+path, strings.NewReader(body))
	d.asked++
	r.RemoteAddr = fmt.Sprintf("192.0.%d.%d:1", d.asked/250, d.asked%250) // how fast one may ask is tested elsewhere
	r.Header.Set("Content-Type", kind)
	r.Header.Set("Accept-Language", d.lang)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	d.handler.ServeHTTP(w, r)
	return w
}

// round is what somebody found.
type round struct {
	after  time.Duration // the case's beginning
	ahead  time.Duration // of the clock
	group  string
	litres float64 // NaN for none
	brix   float64 // 0 for none
	note   string
}

func (r *round) volume() string {
	if math.IsNaN(r.litres) {
		return ""
	}
	return strconv.FormatFloat(r.litres, 'f', -1, 64)
}

func (r *round) sugar() string {
	if r.brix == 0 {
		return ""
	}
	return strconv.FormatFloat(r.brix, 'f', -1, 64)
}

// said is what a way in answered: all its words, and whether it took the record.
type said struct {
	words string
	taken bool
}

// sheet is a round as a file.
func (d *doors) sheet(r *round) string {
	return fmt.Sprintf("collected_at,group,volume_l,brix,note\n%s,%s,%s,%s,\"%s\"\n", d.now.Add(r.ahead).Format(time.RFC3339), r.group,
		r.volume(), r.sugar(), r.note)
}

func (d *doors) byCommand(_ auth.Role, r *round) said {
	args := []string{"records", "add", "--group", r.group, "--config", d.config, "--now", d.now.Format(time.RFC3339)}
	for flag, value := range map[string]string{"--brix": r.sugar(), "--note": r.note} {
		if value != "" {
			args = append(args, flag, value)
		}
	}
	if !math.IsNaN(r.litres) {
		args = append(args, "--volume="+r.volume()+"L")
	}
	if r.ahead != 0 {
		args = append(args, "--when", d.now.Add(r.ahead).Format(time.RFC3339))
	}
	out, err := run(d.t, d.env, args...)
	return commandSaid(out, err)
}

func (d *doors) byImport(_ auth.Role, r *round) said {
	out, err := run(d.t, d.env, "records", "import", written(d.t, "log.csv", d.sheet(r)), "--config", d.config, "--now",
		d.now.Format(time.RFC3339))
	return commandSaid(out, err)
}

func commandSaid(out string, err error) said {
	if err != nil {
		return said{err.Error(), false}
	}
	return said{out, true}
}

func (d *doors) byForm(role auth.Role, r *round) said {
	form := url.Values{"key": {fmt.Sprintf("form-%06d", d.asked)}, "group": {r.group}, "volume": {r.volume()}, "brix": {r.sugar()},
		"note": {r.note}, "units": {"metric"}}
	if r.ahead != 0 {
		form.Set("local", d.now.Add(r.ahead).Format("2006-01-02T15:04"))
	}
	w := d.ask("POST", "/site/hill/entries", "application/x-www-form-urlencoded", form.Encode(), "Accept", "application/json", "Cookie",
		d.sessions[role])
	var answer struct{ Say string }
	if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
		answer.Say = w.Body.String()
	}
	return said{answer.Say, w.Code == http.StatusOK}
}

var tags = regexp.MustCompile(`<[^>]*>`)

func (d *doors) bySheet(role auth.Role, r *round) said {
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	part, err := form.CreateFormFile("file", "log.csv")
	if err != nil {
		d.t.Fatal(err)
	}
	_, _ = io.WriteString(part, d.sheet(r))
	_ = form.Close()
	w := d.ask("POST", "/site/hill/records/import", form.FormDataContentType(), b.String(), "Cookie", d.sessions[role])
	return said{strings.NewReplacer("&#39;", "'", "&#43;", "+").Replace(tags.ReplaceAllString(w.Body.String(), " ")),
		w.Code == http.StatusOK}
}

func (d *doors) byAPI(role auth.Role, r *round) said {
	one := map[string]any{"group": r.group, "collected_at": d.now.Add(r.ahead).Format(time.RFC3339), "note": r.note}
	if !math.IsNaN(r.litres) {
		one["volume_l"] = r.litres
	}
	if r.brix != 0 {
		one["brix"] = r.brix
	}
	body, err := json.Marshal(map[string]any{"records": []any{one}})
	if err != nil {
		d.t.Fatal(err)
	}
	w := d.ask("POST", "/api/v1/sites/hill/records", "application/json", string(body), "Cookie", d.sessions[role])
	var answer struct {
		Outcomes []struct{ Say string }
		Errors   []struct{ Message string }
	}
	if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
		d.t.Fatal(err)
	}
	var words []string
	for _, o := range answer.Outcomes {
		words = append(words, o.Say)
	}
	for _, e := range answer.Errors {
		words = append(words, e.Message)
	}
	return said{strings.Join(words, " "), w.Code == http.StatusOK}
}

func (d *doors) byText(role auth.Role, r *round) said {
	text := r.group
	if v := r.volume(); v != "" {
		text += " " + v + " L"
	}
	if r.brix != 0 {
		text += " " + r.sugar() + " %"
	}
	if r.note != "" {
		text += " " + strings.ReplaceAll(r.note, ",", "")
	}
	before, err := d.app.Daemon.Ledger.RecentOf(d.t.Context(), []string{"hill"}, 1000)
	if err != nil {
		d.t.Fatal(err)
	}
	if w := d.ask("POST", d.texts, "application/x-www-form-urlencoded",
		url.Values{"From": {phones[role]}, "Body": {text}}.Encode()); w.Code != http.StatusNoContent {
		d.t.Fatalf("a text is answered with %d", w.Code)
	}
	now, err := d.app.Daemon.Ledger.RecentOf(d.t.Context(), []string{"hill"}, 1000)
	if err != nil || len(now) != len(before)+1 {
		d.t.Fatalf("%q: %d answers, %v", text, len(now)-len(before), err)
	}
	known := map[string]bool{}
	for _, v := range before {
		known[v.ID] = true
	}
	for _, v := range now {
		if !known[v.ID] {
			nothing := map[string]string{"en": "Nothing was written", "fr": "Rien n'a"}[d.lang]
			return said{v.Words, !strings.Contains(v.Words, nothing)}
		}
	}
	return said{}
}

// way is one way in.
type way struct {
	name   string
	send   func(d *doors, role auth.Role, r *round) said
	sheet  bool              // it answers with counts, and words for what is odd
	writes map[auth.Role]int // who may, by 1; nil for whoever is at the machine
}

var fromCrewOn = map[auth.Role]int{auth.Crew: 1, auth.Keeper: 1}

var ways = []way{
	{"command", (*doors).byCommand, false, nil},
	{"import", (*doors).byImport, true, nil},
	{"form", (*doors).byForm, false, fromCrewOn},
	{"sheet", (*doors).bySheet, true, map[auth.Role]int{auth.Keeper: 1}},
	{"api", (*doors).byAPI, false, fromCrewOn},
	{"text", (*doors).byText, false, fromCrewOn},
}
