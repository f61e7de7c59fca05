package app

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"thawline/config"
	"thawline/testdata/beside"
)

// alert is one that Prometheus has, as its API tells it.
type alert struct {
	Labels, Annotations map[string]string
	State               string
}

// prometheusBeside runs Prometheus with the rules of deploy/watching, each `for` a
// sixtieth of what it says, on a target of this machine, until the context ends or the
// test does. The function that it returns asks which alerts there are.
func prometheusBeside(ctx context.Context, t *testing.T, target string) func() []alert {
	t.Helper()
	program, err := exec.LookPath("prometheus")
	if err != nil {
		t.Skip("prometheus is not installed: no alert is made to fire")
	}
	rules, err := os.ReadFile("../../../../deploy/watching/thawline-rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	minutes := regexp.MustCompile(`(for: \d+)m\n`)
	if got, want := len(minutes.FindAll(rules, -1)), strings.Count(string(rules), "for: "); got != want {
		t.Fatalf("%d of %d alerts wait for some minutes", got, want)
	}
	dir, listen := t.TempDir(), beside.FreePort(t)
	settings := fmt.Sprintf(`global: {scrape_interval: 1s, scrape_timeout: 1s, evaluation_interval: 1s}
rule_files: [rules.yaml]
scrape_configs: [{job_name: sugarhouse, static_configs: [{targets: [%q]}]}]
`, target)
	for name, body := range map[string][]byte{"prometheus.yml": []byte(settings), "rules.yaml": minutes.ReplaceAll(rules, []byte("${1}s\n"))} {
		if err := os.WriteFile(filepath.Join(dir, name), body, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.CommandContext(ctx, program, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+listen, "--log.level=warn")
	said := &lockedLog{}
	cmd.Stdout, cmd.Stderr, cmd.WaitDelay = said, said, 5*time.Second
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Cancel()
		_ = cmd.Wait() // ended by the signal
		if t.Failed() {
			t.Logf("Prometheus said:\n%s", said)
		}
	})
	return func() []alert {
		answer, err := http.Get("http://" + listen + "/api/v1/alerts")
		if err != nil {
			return nil // not up yet
		}
		defer func() { _ = answer.Body.Close() }()
		var got struct{ Data struct{ Alerts []alert } }
		if err := json.NewDecoder(answer.Body).Decode(&got); err != nil {
			return nil
		}
		return got.Data.Alerts
	}
}

// A real Prometheus scrapes the daemon of a bush whose weather never comes and whose
// evening was not told since the start 60 hours ago. Both alerts fire, from the first
// failure on, and name the task under a label that Prometheus leaves as it is.
func TestAlertThroughPrometheus(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of Prometheus is left out")
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	services := httptest.NewServer(http.NotFoundHandler())
	defer services.Close()
	dir := t.TempDir()
	file := filepath.Join(dir, "thawline.yaml")
	if err := os.WriteFile(file, []byte(`
data_dir: `+filepath.Join(dir, "data")+`
weather: {contact: test@example.org, sources: [open_meteo], open_meteo: {base_url: "`+services.URL+`", ensemble_base_url: "`+services.URL+`"}}
sites: [{id: hill, latitude: 44.6, longitude: -72.3, elevation: 300 m, zone: America/New_York, groups: [{id: pails, taps: 40, collected_by: pail, container: 10 L}]}]
`), 0o600); err != nil {
		t.Fatal(err)
	}
	now := time.Now().Add(-60 * time.Hour)
	load := func() (*config.Config, error) { return config.Load(file, os.Environ()) }
	c, err := load()
	if err != nil {
		t.Fatal(err)
	}
	h, err := Open(ctx, Env{Version: "test", Log: slog.New(slog.DiscardHandler), Clock: func() time.Time { return now }, Frozen: true}, c, load)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = h.Close() }()
	h.env.Clock = time.Now
	scraped := make(chan struct{}, 1000)
	handler := h.Handler()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		handler.ServeHTTP(w, r)
		if r.URL.Path == "/metrics" {
			scraped <- struct{}{}
		}
	}))
	defer server.Close()
	target := strings.TrimPrefix(server.URL, "http://")
	began := time.Now()
	alerts := prometheusBeside(ctx, t, target)
	for range 2 { // by the second scrape the first is kept
		select {
		case <-scraped:
		case <-ctx.Done():
			t.Fatal("Prometheus did not come for figures")
		}
	}
	for range 4 { // half a day in which the weather is asked for every three hours
		h.Daemon.Step(ctx, now)
		now = now.Add(c.Serve.RefreshEvery)
	}

	firing := func() map[string]alert {
		out := map[string]alert{}
		for _, a := range alerts() {
			if a.State == "firing" {
				out[a.Labels["alertname"]+" "+a.Labels["task"]] = a
			}
		}
		return out
	}
	var got map[string]alert
	for _, done := got["ThawlineEveningMissed evening"]; !done; _, done = got["ThawlineEveningMissed evening"] {
		select {
		case <-scraped:
			got = firing()
		case <-ctx.Done():
			t.Fatalf("the missed evening fires no alert within a minute: %v", alerts())
		}
	}
	t.Logf("after %.1f s %d alerts fire", time.Since(began).Seconds(), len(got))
	for name, want := range map[string]alert{
		"ThawlineEveningMissed evening": {Labels: map[string]string{"severity": "page", "task": "evening"}, Annotations: map[string]string{"summary": "the evening of hill was not told"}},
		"ThawlineJobsFail refresh":      {Labels: map[string]string{"severity": "warning", "task": "refresh"}, Annotations: map[string]string{"summary": "refresh of hill fails again and again"}},
	} {
		a, fires := got[name]
		labels := maps.Clone(want.Labels)
		labels["site"], labels["job"], labels["instance"] = "hill", "sugarhouse", target // these two are Prometheus' own
		labels["alertname"], _, _ = strings.Cut(name, " ")
		if !fires || !maps.Equal(a.Labels, labels) || a.Annotations["summary"] != want.Annotations["summary"] {
			t.Errorf("%s: %v, want labels %v and the summary %q", name, a, labels, want.Annotations["summary"])
		}
	}
	for name := range got {
		if strings.HasPrefix(name, "ThawlineSilent") || strings.HasPrefix(name, "ThawlineTexts") || strings.HasPrefix(name, "ThawlineJobsFail") && name != "ThawlineJobsFail refresh" {
			t.Errorf("%s fires too", name)
		}
	}
}
