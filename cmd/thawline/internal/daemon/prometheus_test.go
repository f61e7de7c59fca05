package daemon

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"thawline/testdata/beside"
)

// pager takes what Alertmanager sends, and knows which alerts fired and were resolved, by
// target and name.
type pager struct {
	mu              sync.Mutex
	fired, resolved map[string]bool
}

func newPager() *pager { return &pager{fired: map[string]bool{}, resolved: map[string]bool{}} }

func (p *pager) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	var said struct {
		Alerts []struct {
			Status              string
			Labels, Annotations map[string]string
		}
	}
	if err := json.NewDecoder(r.Body).Decode(&said); err != nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, a := range said.Alerts {
		name := a.Labels["target"] + a.Labels["channel"] + " " + strings.TrimPrefix(a.Labels["alertname"], "Thawline")
		if a.Annotations["summary"] == "" || a.Labels["severity"] == "" {
			name += " without a summary or a severity"
		}
		if a.Status == "firing" {
			p.fired[name] = true
		} else {
			p.resolved[name] = true
		}
	}
}

// missing are those of the names that have not fired, or not been resolved.
func (p *pager) missing(names []string, resolved bool) (out []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, name := range names {
		if resolved && !p.resolved[name] || !p.fired[name] {
			out = append(out, name)
		}
	}
	return out
}

// runs starts a program of Prometheus until the test ends.
func runs(t *testing.T, program string, arguments ...string) {
	t.Helper()
	cmd := exec.Command(program, arguments...)
	log := &strings.Builder{}
	cmd.Stdout, cmd.Stderr, cmd.WaitDelay = log, log, 5*time.Second
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait() // ended by the signal
		if t.Failed() {
			t.Logf("%s said:\n%s", program, log)
		}
	})
}

// onAFasterClock are the rules of deploy/watching, with a second for each minute of `for`
// and for each half an hour that counts are looked back on.
func onAFasterClock(t *testing.T) string {
	t.Helper()
	rules, err := os.ReadFile("../../../../deploy/watching/thawline-rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	minutes := regexp.MustCompile(`(for: \d+)m\n`)
	if got, want := len(minutes.FindAll(rules, -1)), strings.Count(string(rules), "for: "); got != want {
		t.Fatalf("%d of %d alerts wait for some minutes", got, want)
	}
	return regexp.MustCompile(`\[(\d+)h\]`).ReplaceAllStringFunc(string(minutes.ReplaceAll(rules, []byte("${1}s\n"))),
		func(window string) string {
			hours, err := strconv.Atoi(window[1 : len(window)-2])
			if err != nil {
				t.Fatal(err)
			}
			return fmt.Sprintf("[%ds]", 2*hours)
		})
}

// watchedBy runs a Prometheus and its Alertmanager on targets by name, which tell a pager.
//
// One named database may take its time to answer: it waits for what is away.
func watchedBy(t *testing.T, p *pager, targets map[string]string) {
	t.Helper()
	dir, listen, alertmanager := t.TempDir(), beside.FreePort(t), beside.FreePort(t)
	page := httptest.NewServer(p)
	t.Cleanup(page.Close)
	var scraped strings.Builder
	for name, target := range targets {
		pace := ""
		if name == "database" {
			pace = ", scrape_interval: 4s, scrape_timeout: 4s"
		}
		fmt.Fprintf(&scraped, "- {job_name: %q%s, static_configs: [{targets: [%q], labels: {target: %[1]q}}]}\n", name, pace, target)
	}
	for name, text := range map[string]string{
		"rules.yaml": onAFasterClock(t),
		"prometheus.yml": `global: {scrape_interval: 500ms, scrape_timeout: 500ms, evaluation_interval: 500ms}
rule_files: [rules.yaml]
alerting: {alertmanagers: [{static_configs: [{targets: ["` + alertmanager + `"]}]}]}
scrape_configs:
` + scraped.String(),
		"alertmanager.yml": `route: {receiver: pager, group_by: ["..."], group_wait: 0s, group_interval: 1s}
receivers: [{name: pager, webhook_configs: [{url: "` + page.URL + `", send_resolved: true}]}]
`} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	runs(t, "prometheus-alertmanager", "--config.file="+filepath.Join(dir, "alertmanager.yml"),
		"--storage.path="+filepath.Join(dir, "alerts"), "--web.listen-address="+alertmanager, "--cluster.listen-address=",
		"--log.level=warn")
	runs(t, "prometheus", "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+listen, "--log.level=warn")
}

// ailing is a house in which something goes wrong, until it is mended.
type ailing struct {
	name   string
	d      *Daemon
	fires  []string            // after the name and a space; what is summed over all houses has no name
	ail    func(now time.Time) // at every tick until all have fired
	mend   func(now time.Time) // then, once
	well   func(now time.Time) // at every tick after that
	mended bool
	read   atomic.Int64 // how often its figures were
}

func (h *ailing) names() (out []string) {
	for _, alert := range h.fires {
		if alert != "TextsLate" {
			alert = h.name + " " + alert
		} else {
			alert = " " + alert
		}
		out = append(out, alert)
	}
	return out
}

func (h *ailing) step(p *pager, now time.Time) {
	switch {
	case h.mended && h.well != nil:
		h.well(now)
	case h.mended:
	case len(p.missing(h.names(), false)) == 0:
		h.mended = true
		h.mend(now)
	case h.ail != nil && h.read.Load() > 0: // what rose before nobody saw rise
		h.ail(now)
	}
}

// A real Prometheus and its Alertmanager watch a house for each thing that goes wrong, two
// healthy daemons on one database, and an address where nobody answers yet: every rule
// fires for its cause alone, and is resolved when that is mended.
func TestAlertThroughPrometheus(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of Prometheus is left out")
	}
	for _, program := range []string{"prometheus", "prometheus-alertmanager"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skip(program + " is not installed: no alert is made to fire")
		}
	}
	began := time.Now()
	// A minute of the daemons' clock goes by in a second, as that of the rules.
	fast := func() time.Time { return began.Add(60 * time.Since(began)) }
	a, b := healthy(t, began)
	houses := []*ailing{feedDead(t, began), gatewayRefuses(t, began), textsLate(t, began), jobsFail(t, began), eveningMissed(t, began),
		databaseAway(t, began)}
	if full := diskFull(t, began); full != nil {
		houses = append(houses, full)
	}
	daemons := map[string]*Daemon{"a": a, "b": b}
	var want []string
	for _, h := range houses {
		daemons[h.name] = h.d
		want = append(want, h.names()...)
	}
	targets := map[string]string{}
	for name, d := range daemons {
		figures, read := hooksOf(d).Handler(fast), new(atomic.Int64)
		if k := slices.IndexFunc(houses, func(h *ailing) bool { return h.name == name }); k >= 0 {
			read = &houses[k].read
		}
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			figures.ServeHTTP(w, r)
			read.Add(1)
		}))
		defer server.Close()
		targets[name] = strings.TrimPrefix(server.URL, "http://")
	}
	var there atomic.Bool
	figures := hooksOf(a).Handler(fast)
	later := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if there.Load() {
			figures.ServeHTTP(w, r)
			return
		}
		w.WriteHeader(http.StatusServiceUnavailable)
	}))
	defer later.Close()
	all, silent := newPager(), newPager()
	watchedBy(t, all, targets)
	watchedBy(t, silent, map[string]string{"later": strings.TrimPrefix(later.URL, "http://")})

	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	for len(all.missing(want, true))+len(silent.missing([]string{" Silent"}, true)) > 0 {
		now := <-tick.C
		if now.Sub(began) > 100*time.Second {
			t.Fatalf("not fired: %v and %v; not resolved: %v and %v", all.missing(want, false),
				silent.missing([]string{" Silent"}, false), all.missing(want, true), silent.missing([]string{" Silent"}, true))
		}
		for _, h := range houses {
			h.step(all, now)
		}
		if len(silent.missing([]string{" Silent"}, false)) == 0 {
			there.Store(true)
		}
		a.Step(t.Context(), now)
		b.Step(t.Context(), now)
	}
	t.Logf("%d alerts fired and were resolved in %.0f s", len(want)+1, time.Since(began).Seconds())
	for name := range all.fired {
		if !slices.Contains(want, name) {
			t.Errorf("%s fires too", name)
		}
	}
	for name := range silent.fired {
		if name != " Silent" {
			t.Errorf("%s fires where nobody answered", name)
		}
	}
}
