package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/config"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// answering runs init with answers, one a line.
func answering(t *testing.T, out string, answers string, args ...string) (string, error) {
	t.Helper()
	root := rootCommand()
	var said, log bytes.Buffer
	root.SetIn(strings.NewReader(answers))
	root.SetOut(&said)
	root.SetErr(&log)
	root.SetArgs(append([]string{"init", "--out", out, "--now", testdata.Now().Format("2006-01-02T15:04:05Z07:00")}, args...))
	err := root.ExecuteContext(t.Context())
	return said.String(), err
}

// The first hour: questions in plain words, what is wrong is asked again, the zone
// and the height are looked up, services and the phone are tried, and the file that
// is written works and stays.
func TestInit(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	var pushed []string
	phone := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m struct{ Topic, Message string }
		_ = json.NewDecoder(r.Body).Decode(&m)
		pushed = append(pushed, m.Topic+": "+m.Message)
	}))
	defer phone.Close()
	for name, url := range map[string]string{"NWS": services.URL, "MET_NORWAY": services.URL, "ENVIRONMENT_CANADA": services.URL,
		"OPEN_METEO": services.URL} {
		t.Setenv("THAWLINE_WEATHER_"+name+"_BASE_URL", url)
	}
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	out := filepath.Join(t.TempDir(), "thawline.yaml")
	said, err := answering(t, out, "the hill\n44.62, -72.31\nAunt \"Lou's\" bush\n\nmany\nabout 120\npaisl\nbuckets\nlots\n4\nAunt Lou\nlou\nlou@example.org\nntfy\n"+phone.URL+"\n")
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	for _, want := range []string{"Where are the trees?", "I did not understand that: degrees north", "120 taps.", "Did you mean pail?",
		"a size between 1 and 40 litres", "I take that as 4 US gal.", "an e-mail address such as", "Time zone America/New_York",
		"ft, as nws has it", "ok   weather nws bush", "ok   message by phone", "thawline serve --config"} {
		if !strings.Contains(said, want) {
			t.Errorf("init does not say %q", want)
		}
	}
	if strings.Contains(said, "has no elevation") {
		t.Error("a height that a service told is missed")
	}
	c, err := config.Load(out, nil)
	if err != nil {
		t.Fatal(err)
	}
	s := c.Sites[0]
	if s.Name != `Aunt "Lou's" bush` || s.Groups[0].Taps != 120 || s.Zone.String() != "America/New_York" ||
		s.Groups[0].ContainerL < 15 || s.Place.ElevationM < 300 || c.People[0].ID != "aunt-lou" || c.People[0].Name != "Aunt Lou" ||
		c.Weather.Contact != "lou@example.org" || string(c.Units) != "us" {
		t.Errorf("%+v", s)
	}
	if strings.Index(said, "Time zone") > strings.Index(said, "What do you call") {
		t.Error("the zone is not told before the next question")
	}
	if len(pushed) != 1 || !strings.HasPrefix(pushed[0], "sap-") || !strings.Contains(pushed[0], "this is a test") ||
		!strings.Contains(said, strings.SplitN(pushed[0], ":", 2)[0]) {
		t.Errorf("%q", pushed)
	}
	before, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := answering(t, out, ""); err == nil || !strings.Contains(err.Error(), "exists already") {
		t.Error(err)
	}
	if after, err := os.ReadFile(out); err != nil || !bytes.Equal(before, after) {
		t.Error("a file that was there was written over", err)
	}
	if outlook, err := run(t, map[string]string{"THAWLINE_CONFIG": out}, "forecast", "--now", "2026-03-20T21:30:00Z"); err != nil ||
		!strings.Contains(outlook, "120 taps") {
		t.Errorf("%v\n%s", err, outlook)
	}
	t.Log("\n" + said + "\n" + string(before))
}

// openServices answers for every weather service.
func openServices(t *testing.T) {
	t.Helper()
	services := httptest.NewServer(testdata.Handler())
	t.Cleanup(services.Close)
	for _, name := range []string{"NWS", "MET_NORWAY", "ENVIRONMENT_CANADA", "OPEN_METEO"} {
		t.Setenv("THAWLINE_WEATHER_"+name+"_BASE_URL", services.URL)
	}
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
}

// What somebody types with cold hands is understood, back goes back, a number in the
// list of answers changes one, and answers outlive an end: only what is left is asked.
func TestInitForgives(t *testing.T) {
	openServices(t)
	var sent string
	gateway := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		sent = r.PostFormValue("to") + " " + r.Header.Get("Authorization")
	}))
	defer gateway.Close()
	dir := t.TempDir()
	out := filepath.Join(dir, "f.yaml")
	said, err := answering(t, out, "45,9 N; 71,2 O\n\nMétrique\n1 2 3\n100-120\n-4\nenviron 1 200 entailles\nCHAUDIERES\nretour\nseaux\n2 gal\n", "--lang", "fr")
	if err == nil || !strings.Contains(err.Error(), "thawline init --resume") || strings.Count(said, "Combien d'entailles?") != 4 ||
		!strings.Contains(said, "1200 entailles.") || !strings.Contains(said, "Je comprends 2 imp gal.") ||
		strings.Count(said, "Comment ramassez-vous") != 2 || strings.Contains(said, "option_") {
		t.Fatalf("%v\n%s", err, said)
	}
	if info, err := os.Stat(out + ".answers"); err != nil || info.Mode().Perm() != 0o600 {
		t.Error(info, err)
	}
	said, err = answering(t, out, "Luc\nluc@example.org\ntextos\n418 555-01\n418 555-0123\n"+gateway.URL+"\nwhat\n\nhush\n4\n80\n\n",
		"--lang", "fr", "--resume")
	if err != nil || strings.Contains(said, "Où sont les érables") || !strings.Contains(said, "Messages par : texto") ||
		strings.Contains(said, "hush") || strings.Count(said, "Vos réponses") < 2 {
		t.Fatalf("%v\n%s", err, said)
	}
	c, err := config.Load(out, nil)
	if err != nil {
		t.Fatal(err)
	}
	if sent != "+14185550123 Bearer hush" {
		t.Errorf("the test message went out as %q", sent)
	}
	g, p := c.Sites[0].Groups[0], c.People[0]
	if g.Taps != 80 || g.ContainerL < 9 || g.ContainerL > 9.2 || g.Method != "pail" || p.Phone.Reveal() != "+14185550123" ||
		!slices.Equal(p.Channels, []string{"text"}) || string(c.Units) != "metric" {
		t.Errorf("%+v %v", g, p.Channels)
	}
	if text, err := os.ReadFile(filepath.Join(dir, "gateway-key")); err != nil || string(text) != "hush\n" {
		t.Errorf("%q %v", text, err)
	}
	if _, err := os.Stat(out + ".answers"); err == nil {
		t.Error("the answers are still there")
	}
	if _, err := answering(t, filepath.Join(dir, "g.yaml"), "", "--resume"); err == nil ||
		!strings.Contains(err.Error(), "no answers to go on from") {
		t.Error(err)
	}
}

// A modem of one's own, and answers of an earlier try as what is usual.
func TestInitWithAModem(t *testing.T) {
	openServices(t)
	dir := t.TempDir()
	out := filepath.Join(dir, "m.yaml")
	answers := "back\n44.62 -72.31\nThe hill\nus\n"
	if said, err := answering(t, out, answers); err == nil || !strings.Contains(said, "That was the first question.") {
		t.Fatalf("%v\n%s", err, said)
	}
	said, err := answering(t, out, "\n\n\n50\nsap bags\n12 qt\nAnn\nann@example.org\nGSM\n(802) 555-0123\n"+dir+"\nyes\n")
	if err != nil || !strings.Contains(said, "answers of that time are in brackets") || !strings.Contains(said, "[The hill]") {
		t.Fatalf("%v\n%s", err, said)
	}
	c, err := config.Load(out, nil)
	if err != nil || c.Sites[0].Name != "The hill" || c.Sites[0].Groups[0].Method != "bag" || c.Sites[0].Groups[0].ContainerL < 11.3 ||
		c.People[0].Phone.Reveal() != "+18025550123" || !slices.Equal(c.People[0].Channels, []string{"modem"}) {
		t.Errorf("%v\n%s", err, said)
	}
}

// Tubing with a pump, in French, without a network, told by mail; and answers that
// end too soon.
func TestInitElsewhere(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for services that are not there")
	}
	closed := httptest.NewServer(http.NotFoundHandler())
	closed.Close()
	for _, name := range []string{"NWS", "MET_NORWAY", "ENVIRONMENT_CANADA", "OPEN_METEO"} {
		t.Setenv("THAWLINE_WEATHER_"+name+"_BASE_URL", closed.URL)
	}
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	dir := t.TempDir()
	out := filepath.Join(dir, "e.yaml")
	said, err := answering(t, out, "45,9 N; 71,2 O\nÉrablière du Lac\nmetric\n900\ntubing_vacuum\n2000 L\n20\nMarie-Ève Côté\nlac@example.org\nemail\nmail.example.org\nlac@example.org\nmarie@example.org\n", "--lang", "fr")
	if err != nil || !strings.Contains(said, "Où sont les érables") || strings.Count(said, "Pas d'internet ici") != 1 ||
		strings.Count(said, "bush n'a pas d'altitude : écrivez-la dans "+out) != 1 || !strings.Contains(said, "elevation: 350 m") ||
		strings.Contains(said, "NON  météo") || strings.Contains(said, "dial tcp") {
		t.Fatalf("%v\n%s", err, said)
	}
	c, err := config.Load(out, nil)
	if err != nil {
		t.Fatal(err)
	}
	if g := c.Sites[0].Groups[0]; g.VacuumKPa < 60 || c.Sites[0].Tanks[0].VolumeL != 2000 || c.Language != "fr" ||
		c.Sites[0].Zone.String() != "America/Toronto" && c.Sites[0].Zone.String() != "America/Montreal" ||
		c.People[0].Email.Reveal() != "marie@example.org" || c.People[0].Name != "Marie-Ève Côté" ||
		!slices.Equal(c.Weather.Sources, []string{"environment_canada", "met_norway"}) {
		t.Errorf("%+v %s", g, c.Sites[0].Zone.String())
	}
	for name, mode := range map[string]os.FileMode{"e.yaml": 0o600, "marie-eve-cote-email": 0o600} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%s: %v %v", name, info, err)
		}
	}
	none := filepath.Join(dir, "none.yaml")
	for _, answers := range []string{"", strings.Repeat("nowhere\n", 9), "45.9,-71.2\nX\n"} {
		if _, err := answering(t, none, answers); err == nil || !strings.Contains(err.Error(), "Nothing was written") {
			t.Error(err)
		}
		if _, err := os.Stat(none); err == nil {
			t.Error("something was written")
		}
	}
}

// A place where few tap is asked back about once, and taken if it is meant; whoever
// wants to say later how the text gets there finds how in the file.
func TestInitFarAway(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for services that are not there")
	}
	closed := httptest.NewServer(http.NotFoundHandler())
	closed.Close()
	t.Setenv("THAWLINE_WEATHER_MET_NORWAY_BASE_URL", closed.URL)
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	out := filepath.Join(t.TempDir(), "far.yaml")
	answers := "44.62, 72.68\n43.5 N, 142.8 E\n\nBush\nmetric\n30\npail\n8 L\n李\nexample.org/bush\nlater\n"
	said, err := answering(t, out, answers)
	if err != nil || strings.Count(said, "Is the sign right?") != 2 || !strings.Contains(said, "That is in Asia/") {
		t.Fatalf("%v\n%s", err, said)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	c, err := config.Load(out, nil)
	if err != nil || c.Sites[0].Zone.String() != "Asia/Tokyo" || c.People[0].ID != "keeper" || c.People[0].Name != "李" ||
		!slices.Equal(c.Weather.Sources, []string{"met_norway"}) {
		t.Errorf("%v\n%s", err, text)
	}
	if err := os.WriteFile(out, []byte(strings.NewReplacer("# channels:", "channels:", "#   - id", "  - id", "#     ",
		"    ").Replace(string(text))), 0o600); err != nil {
		t.Fatal(err)
	}
	if c, err = config.Load(out, nil); err != nil || len(c.Channels) != 1 || len(c.People[0].Channels) != 1 {
		t.Errorf("the example of a channel does not fit: %v\n%s", err, text)
	}
}

// Where nothing can be written nobody is asked anything.
func TestInitWithoutAPlaceToWrite(t *testing.T) {
	said, err := answering(t, filepath.Join(t.TempDir(), "none", "x.yaml"), "44.62, -72.31\n")
	if err == nil || !strings.Contains(err.Error(), "make it first") || said != "" {
		t.Errorf("%v\n%s", err, said)
	}
	if os.Getuid() == 0 {
		t.Skip("everything can be written to")
	}
	shut := t.TempDir()
	if err := os.Chmod(shut, 0o500); err != nil {
		t.Fatal(err)
	}
	if _, err := answering(t, filepath.Join(shut, "x.yaml"), ""); err == nil || !strings.Contains(err.Error(), "cannot be written to") {
		t.Error(err)
	}
}

// Whoever ends the questions is not held until the next line, and is told that what was
// answered is kept: then it is not asked again.
func TestInitEnded(t *testing.T) {
	openServices(t)
	in, typed, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer typed.Close()
	ctx, stop := context.WithCancel(t.Context())
	root := rootCommand()
	said, out := &lockedBuffer{}, filepath.Join(t.TempDir(), "x.yaml")
	root.SetIn(in)
	root.SetOut(said)
	root.SetErr(io.Discard)
	root.SetArgs([]string{"init", "--out", out})
	ended := make(chan error, 1)
	go func() { ended <- root.ExecuteContext(ctx) }()
	if _, err := io.WriteString(typed, "44.62, -72.31\n"); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the second question", func() bool { return strings.Contains(said.String(), "What do you call") })
	stop()
	select {
	case err := <-ended:
		if !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	case <-time.After(10 * time.Second):
		t.Error("still waiting for a line")
	}
	if !strings.Contains(said.String(), "safe: thawline init --resume") {
		t.Errorf("the kept answer is not told of: %s", said.String())
	}
	if again, _ := answering(t, out, "", "--resume"); strings.Contains(again, "Where are the trees") ||
		!strings.Contains(again, "What do you call") {
		t.Errorf("asked again: %s", again)
	}
}

// Started with a settings file that is not there yet, serve asks on a page, for this
// machine alone, writes the file, and goes on with it.
func TestFirstRunOnAPage(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	for _, name := range []string{"NWS", "MET_NORWAY", "ENVIRONMENT_CANADA"} {
		t.Setenv("THAWLINE_WEATHER_"+name+"_BASE_URL", services.URL)
	}
	listen := beside.FreePort(t)
	t.Setenv("THAWLINE_SERVE_LISTEN", listen)
	t.Setenv("THAWLINE_DATA_DIR", t.TempDir())
	out := filepath.Join(t.TempDir(), "new.yaml")
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	root := rootCommand()
	log := &lockedBuffer{}
	root.SetErr(log)
	root.SetOut(io.Discard)
	root.SetArgs([]string{"serve", "--config", out, "--now", "2026-03-20T21:30:00Z"})
	ended := make(chan error, 1)
	go func() { ended <- root.ExecuteContext(ctx) }()
	base := "http://" + listen
	waitFor(t, "the page", func() bool { return strings.Contains(log.String(), "there are no settings yet") })
	ask := func(method string, form url.Values, headers ...string) (int, string) {
		r, err := http.NewRequestWithContext(t.Context(), method, base+"/", strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		for i := 0; i+1 < len(headers); i += 2 {
			if r.Header.Set(headers[i], headers[i+1]); headers[i] == "Host" {
				r.Host = headers[i+1]
			}
		}
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = answer.Body.Close() }()
		body, _ := io.ReadAll(answer.Body)
		return answer.StatusCode, string(body)
	}
	good := url.Values{"init_place": {"44.62, -72.31"}, "init_name": {"<Bush>"}, "init_units": {""}, "init_taps": {"90"},
		"init_collected": {"pail"}, "init_container": {"4 gal"}, "init_contact": {"a@example.org"}, "init_person": {"ann"},
		"init_tell": {"later"}}
	if code, page := ask("GET", nil); code != 200 || !strings.Contains(page, "Where are the trees?") ||
		!strings.Contains(page, `<option value="tubing_vacuum">vacuum</option>`) ||
		strings.Count(page[:strings.Index(page, "<details")], "<label>") != 5 {
		t.Errorf("%d %s", code, page)
	}
	if _, page := ask("GET", nil, "Accept-Language", "fr-CA,fr;q=0.9,en;q=0.5"); !strings.Contains(page, "Où sont les érables?") {
		t.Error("the browser's language is not spoken")
	}
	for name, headers := range map[string][]string{"another site's form": {"Sec-Fetch-Site", "cross-site"},
		"another name": {"Host", "evil.example"}, "a proxy": {"X-Forwarded-For", "203.0.113.5"}} {
		if code, _ := ask("POST", good, headers...); code != 403 {
			t.Errorf("%s: %d", name, code)
		}
	}
	wrong := url.Values{}
	for k, v := range good {
		wrong[k] = v
	}
	wrong["init_taps"] = []string{"many"}
	if code, page := ask("POST", wrong); code != 422 || !strings.Contains(page, "one whole number of taps") ||
		!strings.Contains(page, "&lt;Bush&gt;") {
		t.Errorf("%d %s", code, page)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("wrong answers were written")
	}
	five := url.Values{}
	for _, k := range []string{"init_place", "init_collected", "init_contact", "init_person"} {
		five[k] = good[k]
	}
	if code, page := ask("POST", five); code != 422 || strings.Count(page, `role="alert"`) != 1 ||
		strings.Contains(page, "<details open>") {
		t.Errorf("%d %s", code, page)
	}
	if code, page := ask("POST", good); code != 200 || !strings.Contains(page, "Written:") {
		t.Errorf("%d %s", code, page)
	}
	waitFor(t, "the daemon with its new settings", func() bool {
		status, _ := fetch(t, "GET", base+"/readyz")
		return status == 200
	})
	if c, err := config.Load(out, nil); err != nil || c.Sites[0].Groups[0].Taps != 90 || c.Sites[0].Name != "<Bush>" ||
		string(c.Units) != "us" || c.Sites[0].Place.ElevationM < 300 {
		t.Errorf("%v %+v", err, c)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	// Whoever ends it before is told nothing.
	t.Setenv("THAWLINE_SERVE_LISTEN", beside.FreePort(t))
	ctx, stop = context.WithCancel(context.Background())
	stop()
	root = rootCommand()
	root.SetErr(io.Discard)
	root.SetArgs([]string{"serve", "--config", filepath.Join(t.TempDir(), "never.yaml")})
	if err := root.ExecuteContext(ctx); err != nil {
		t.Error(err)
	}
	// On an address that others reach no such page is shown.
	t.Setenv("THAWLINE_SERVE_LISTEN", "0.0.0.0:0")
	if _, err := run(t, nil, "serve", "--config", filepath.Join(t.TempDir(), "none.yaml")); err == nil ||
		!strings.Contains(err.Error(), "write it with thawline init") {
		t.Error(err)
	}
}
