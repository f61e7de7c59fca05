package main

import (
	"bytes"
	"context"
	"encoding/json"
	"html"
	"io"
	"io/fs"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/api"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// lockedBuffer takes the log of a running command.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// waitFor waits for something that another goroutine brings about.
func waitFor(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if done() {
			return
		}
	}
	t.Fatalf("%s did not come about", what)
}

func fetch(t *testing.T, method, url string) (int, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, err.Error()
	}
	defer func() { _ = answer.Body.Close() }()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(data)
}

// comeIn sets up the first keeper with the code from the log, as people do, and
// gives what their browser sees from then on.
func comeIn(t *testing.T, base, log string) func(path string) string {
	t.Helper()
	code := regexp.MustCompile(`"code":"([^"]+)"`).FindStringSubmatch(log)
	if code == nil {
		t.Fatalf("no set-up code in the log:\n%s", log)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar}
	see := func(answer *http.Response, err error) string {
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = answer.Body.Close() }()
		body, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != 200 {
			t.Fatalf("%s: %d %v %s", answer.Request.URL, answer.StatusCode, err, body)
		}
		return string(body)
	}
	get := func(path string) string {
		r, err := http.NewRequestWithContext(t.Context(), "GET", base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Accept", "text/html")
		return see(client.Do(r))
	}
	if asked := get("/"); !strings.Contains(asked, `name="code"`) {
		t.Errorf("a stranger sees %s", asked)
	}
	see(client.PostForm(base+"/setup", url.Values{"code": {code[1]}, "person": {"robin"}, "password": {"sap runs in march"}}))
	return get
}

// brokenWords are files of words that can't be used: no TOML, a placeholder that is not
// there, 10 MB, and a name that is no language's.
var brokenWords = map[string]string{"oj.toml": "language_name = ", "moh.toml": "nav_boil = \"{{.Nom}}\"\n",
	"cr.toml": "# " + strings.Repeat("x", 10<<20), "our words.toml": ""}

// The daemon as it is started: services that replay the demonstration, a push
// server, a phone number that must never be seen, settings that change.
func TestServe(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	var mu sync.Mutex
	var pushed []map[string]any
	push := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m map[string]any
		_ = json.NewDecoder(r.Body).Decode(&m)
		mu.Lock()
		defer mu.Unlock()
		pushed = append(pushed, m)
	}))
	defer push.Close()
	listen := beside.FreePort(t)
	demo, err := testdata.Files.ReadFile("thawline.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := regexp.MustCompile(`(?ms)^people:.*`).ReplaceAllString(string(demo), "") + `
people:
  - {id: robin, role: keeper, channels: "push", phone_file: phone}
channels:
  - {id: push, kind: ntfy, url: ` + push.URL + `, topic: sap}
serve: {listen: "` + listen + `", link: "http://` + listen + `"}
sites_from: members
words: [oj.toml, moh.toml, cr.toml, our words.toml]
`
	dir := t.TempDir()
	config := filepath.Join(dir, "thawline.yaml")
	annex := "sites: [{id: annex, latitude: 44.6, longitude: -72.3, zone: America/New_York, groups: [{id: bags, taps: 40, collected_by: bag, container: 10 L}]}]\n"
	if err := os.Mkdir(filepath.Join(dir, "members"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, body := range brokenWords {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, body := range map[string]string{config: text, filepath.Join(dir, "phone"): "+18025550123\n",
		filepath.Join(dir, "members", "annex.yaml"): annex} {
		if err := os.WriteFile(name, []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("THAWLINE_DATA_DIR", filepath.Join(dir, "data"))
	t.Setenv("THAWLINE_WEATHER_CONTACT", "test@example.org")
	t.Setenv("THAWLINE_WEATHER_SOURCES", "open_meteo")
	t.Setenv("THAWLINE_WEATHER_OPEN_METEO_API_KEY", "k3y-of-the-weather")
	t.Setenv("THAWLINE_CHANNELS_PUSH_SECRET", "tk_s3cret-of-the-push")
	t.Setenv("THAWLINE_PEOPLE_ROBIN_EMAIL", "robin.of.the.hill@example.org")
	t.Setenv("THAWLINE_WEATHER_OPEN_METEO_BASE_URL", services.URL)
	ctx, stop := context.WithCancel(context.Background())
	log := &lockedBuffer{}
	root := rootCommand()
	root.SetErr(log)
	root.SetOut(io.Discard)
	// Half past six in the evening and a little.
	root.SetArgs([]string{"serve", "--config", config, "--now", "2026-03-20T22:31:00Z", "--log", "json", "--verbose"})
	ended := make(chan error, 1)
	go func() { ended <- root.ExecuteContext(ctx) }()
	defer stop()

	base := "http://" + listen
	waitFor(t, "the evening text", func() bool {
		mu.Lock()
		defer mu.Unlock()
		for _, m := range pushed {
			if s, _ := m["message"].(string); strings.Contains(s, "Gather") && strings.Contains(s, "tomorrow") {
				return true
			}
		}
		return false
	})
	for _, path := range []string{"/healthz", "/readyz"} {
		if status, body := fetch(t, "GET", base+path); status != 200 {
			t.Errorf("%s: %d %s", path, status, body)
		}
	}
	_, metrics := fetch(t, "GET", base+"/metrics")
	for _, want := range []string{"thawline_build_info{version=\"dev\"} 1", "thawline_run_probability_ratio{day=\"1\",site=\"kettle\"}",
		"thawline_job_last_success_timestamp_seconds{site=\"kettle\",task=\"evening\"}", "thawline_deliveries_total{state=\"sent\"}"} {
		if !strings.Contains(metrics, want) {
			t.Errorf("no %s in the metrics", want)
		}
	}
	mu.Lock()
	click, _ := pushed[0]["click"].(string)
	mu.Unlock()
	if status, body := fetch(t, "GET", click); status != 200 || !strings.Contains(body, "<button>Got it</button>") {
		t.Errorf("%s: %d %s", click, status, body)
	}
	if status, _ := fetch(t, "POST", click); status != 200 {
		t.Errorf("%s: %d", click, status)
	}
	if status, _ := fetch(t, "POST", base+"/a/none"); status != 404 {
		t.Errorf("an acknowledgement of nothing: %d", status)
	}
	browser := comeIn(t, base, log.String())
	page := browser("/status")
	if outlook := browser("/site/kettle"); !strings.Contains(outlook, "<svg") {
		t.Errorf("the outlook's page: %s", outlook)
	}

	// Files of words that can't be used are told of, by pages, log and check, and stop nothing.
	found, err := run(t, map[string]string{"THAWLINE_DATA_DIR": filepath.Join(dir, "data")}, "check", "--config", config, "--now",
		"2026-03-20T22:31:00Z")
	if err == nil {
		t.Error("check finds nothing wrong")
	}
	for _, want := range []string{"oj.toml, line 1", "moh.toml: nav_boil", "are more than any catalogue has",
		"our words.toml: the name is not that of a language"} {
		for where, said := range map[string]string{"page": html.UnescapeString(page), "log": log.String(), "check": found} {
			if !strings.Contains(said, want) {
				t.Errorf("the %s does not say %q: %s", where, want, said)
			}
		}
	}
	if strings.Count(found, "BAD  left out") != len(brokenWords) || !strings.Contains(log.String(), "a file of words can't be used") {
		t.Errorf("check says:\n%s", found)
	}
	if status, body := fetch(t, "GET", base+"/login"); status != 200 || !strings.Contains(body, `lang="en"`) ||
		strings.Contains(body, `lang="oj"`) {
		t.Errorf("the login's page: %d %s", status, body)
	}

	if err := os.WriteFile(config, []byte(strings.Replace(text, "taps: 60", "taps: sixty", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "the refusal of bad settings", func() bool {
		_, ready := fetch(t, "GET", base+"/readyz")
		return strings.Contains(ready, "sixty: not a whole number")
	})
	if err := os.WriteFile(config, []byte(strings.Replace(text, "taps: 60", "taps: 61", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "oj.toml"),
		[]byte("language_name = \"Anishinaabemowin\"\n[rounds_taps]\nother = \"{{.N}}\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, body := range map[string]string{"annex": strings.Replace(annex, "taps: 40", "taps: forty", 1),
		"new": strings.Replace(annex, "annex", "new", 1)} {
		if err := os.WriteFile(filepath.Join(dir, "members", name+".yaml"), []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	waitFor(t, "the reload of good settings",
		func() bool { return strings.Contains(log.String(), `"msg":"settings reloaded","sites":3,"left out":1`) })
	if page := browser("/status"); !strings.Contains(page, "annex.yaml:1: sites[0].groups[0].taps: forty: not a whole number") ||
		!strings.Contains(page, "annex") {
		t.Error("the status page does not say which file is left out")
	} else if strings.Contains(page, "oj.toml") || !strings.Contains(page, "Anishinaabemowin") {
		t.Errorf("mended words are not taken: %s", page)
	}

	stop()
	if err := <-ended; err != nil {
		t.Errorf("stopped with %v", err)
	}
	for where, said := range map[string]string{"log": log.String(), "metrics": metrics, "page": page} {
		for _, secret := range []string{"8025550123", "k3y-of", "s3cret-of", "robin.of.the.hill", "sap runs in march"} {
			if strings.Contains(said, secret) {
				t.Errorf("%s in the %s", secret, where)
			}
		}
	}
	// Nobody else on the machine reads what is kept.
	err = filepath.WalkDir(filepath.Join(dir, "data"), func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has mode %s", path, info.Mode())
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}

	env := map[string]string{"THAWLINE_DATA_DIR": filepath.Join(dir, "data")}
	list, err := run(t, env, "alerts", "list", "--config", config)
	if err != nil || !strings.Contains(list, "evening") || !strings.Contains(list, "sent") {
		t.Fatalf("%v\n%s", err, list)
	}
	for line := range strings.SplitSeq(list, "\n") {
		if fields := strings.Fields(line); len(fields) > 4 && fields[4] == "evening" {
			if fields[3] != "annex" && fields[2] != "EDT" { // annex is left out: nobody knows its zone
				t.Errorf("not in the bush's own time: %s", line)
			}
			out, err := run(t, env, "alerts", "explain", fields[len(fields)-1], "--config", config)
			if err != nil || !strings.Contains(out, "because: chance of a run tomorrow") || !strings.Contains(out, "push accepted: 200") {
				t.Errorf("%v\n%s", err, out)
			}
		}
	}
	var messages []api.Message
	out, err := run(t, env, "alerts", "list", "--json", "--config", config)
	if err != nil || json.Unmarshal([]byte(out), &messages) != nil || len(messages) == 0 || messages[0].Site == "" ||
		messages[0].Text == "" || !strings.Contains(out, `"decided_at"`) {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err = run(t, env, "alerts", "explain", messages[0].ID, "--json", "--config", config); err != nil ||
		!json.Valid([]byte(out)) || !strings.Contains(out, `"why"`) || !strings.Contains(out, `"attempts"`) {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err = run(t, map[string]string{"THAWLINE_DATA_DIR": t.TempDir()}, "alerts", "list", "--json", "--config",
		config); err != nil || strings.TrimSpace(out) != "[]" {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err = run(t, env, "alerts", "verdicts", "--json", "--config", config); err != nil ||
		!strings.Contains(out, `"overflow_from"`) || !strings.Contains(out, `"missed"`) {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err = run(t, env, "alerts", "verdicts", "--config", config); err != nil ||
		!strings.Contains(out, "asked 0 times, answered 0: 0 came true, 0 false alarms") ||
		!strings.Contains(out, "warned of overflow from 50 % on, told of a run from 30 % on") {
		t.Errorf("%v\n%s", err, out)
	}
	if _, err := run(t, env, "alerts", "explain", "zzz", "--config", config); err == nil ||
		!strings.Contains(err.Error(), "nothing of that id; thawline alerts list shows the ids") {
		t.Error(err)
	}
}

func TestCheck(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	var pushed []byte
	box := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { pushed, _ = io.ReadAll(r.Body) }))
	defer box.Close()
	config := written(t, "c.yaml", `
sites:
  - id: hill
    latitude: 44.62
    longitude: -72.31
    zone: America/New_York
    groups: [{id: pails, taps: 50, collected_by: pail, container: 15L}]
words: [our words.toml, oj.toml]
people:
  - {id: robin, role: keeper, language: fr, channels: "push, dead"}
  - {id: sam, role: crew, channels: mail}
channels:
  - {id: push, kind: ntfy, url: `+box.URL+`, topic: sap}
  - {id: dead, kind: ntfy, url: "http://127.0.0.1:1", topic: sap}
  - {id: mail, kind: email, host: 127.0.0.1, from: a@example.org}
`)
	env := map[string]string{"THAWLINE_WEATHER_SOURCES": "open_meteo", "THAWLINE_WEATHER_OPEN_METEO_BASE_URL": services.URL}
	out, err := run(t, env, "check", "--config", config, "--send", "robin", "--now", "2026-03-20T22:31:00Z")
	for _, want := range []string{"ok   settings", "ok   records", "ok   weather open_meteo hill", "ok   message by push",
		"BAD  message by dead", "BAD  person sam", "no number or address; add phone_file or email_file", "BAD  left out",
		"our words.toml: the name is not that of a language", "oj.toml: no such file"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if err == nil || !strings.Contains(err.Error(), "checks failed") {
		t.Error(err)
	}
	if !strings.Contains(string(pushed), "ceci est un essai") {
		t.Errorf("not in the person's language: %s", pushed)
	}
}

// The unit's sandbox, as systemd itself scores it: 0 is shut in, 10 is free. Below 2
// nothing more is asked of a service that talks to the network.
func TestSandboxOfTheUnit(t *testing.T) {
	unit, err := os.ReadFile("../../deploy/thawline.service")
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"\nLimitCORE=0\n", "\nWatchdogSec=10min\n", "\nType=notify\n"} { // no dump of memory; ended if it stalls
		if !strings.Contains(string(unit), line) {
			t.Errorf("the unit lacks %q", line)
		}
	}
	tool, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not installed: the unit's sandbox is not scored")
	}
	out, err := exec.CommandContext(t.Context(), tool, "security", "--offline=true", "--no-pager",
		"../../deploy/thawline.service").CombinedOutput()
	m := regexp.MustCompile(`exposure level for thawline\.service: ([0-9.]+)`).FindSubmatch(out)
	if m == nil {
		t.Skipf("systemd-analyze scores no files here: %v %.200s", err, out)
	}
	if score, err := strconv.ParseFloat(string(m[1]), 64); err != nil || score >= 2 {
		t.Errorf("exposure %s", m[1])
	}
}
