package hooks

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"thawline/forecast"
)

const watching = "../../../../deploy/watching"

// What watches thawline asks for figures that exist, and the rules do what they say
// (promtool, Prometheus' own tool).
func TestWatching(t *testing.T) {
	m := NewMetrics("test")
	known := map[string]bool{"thawline_build_info": true}
	for _, c := range []prometheus.Collector{m.issued, m.probability, m.volume, m.failures, m.jobSuccess, m.jobFailures, m.decisions,
		m.stored, m.attempts, m.deliveries, m.lag} {
		described := make(chan *prometheus.Desc, 10)
		c.Describe(described)
		close(described)
		for d := range described {
			for _, label := range strings.Split(regexp.MustCompile(`variableLabels: \{([^}]*)\}`).FindStringSubmatch(d.String())[1], ",") {
				if label == "job" || label == "instance" {
					t.Errorf("%s: Prometheus gives every target a label %s and calls ours exported_%[2]s", d, label)
				}
			}
			name := regexp.MustCompile(`fqName: "([^"]+)"`).FindStringSubmatch(d.String())[1]
			known[name] = true
		}
	}
	known["thawline_delivery_lag_seconds_bucket"] = true
	asked := map[string]bool{}
	for _, file := range []string{"thawline-rules.yaml", "thawline-rules-test.yaml", "dashboard.json"} {
		text, err := os.ReadFile(filepath.Join(watching, file))
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(file, ".json") && !json.Valid(text) {
			t.Errorf("%s is not JSON", file)
		}
		for _, name := range regexp.MustCompile(`thawline_[a-z_]+`).FindAllString(string(text), -1) {
			if asked[name] = true; !known[name] {
				t.Errorf("%s asks for %s, which there is not", file, name)
			}
		}
	}
	for name := range known {
		if !asked[name] && name != "thawline_delivery_lag_seconds" {
			t.Errorf("nobody looks at %s", name)
		}
	}
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed: the rules are not tried")
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if out, err := exec.CommandContext(ctx, promtool, "test", "rules",
		filepath.Join(watching, "thawline-rules-test.yaml")).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// Where figures are summed over all sites, old weather is still seen, and a site whose
// evening failed is not hidden by the others.
func TestFiguresOfManySites(t *testing.T) {
	m := NewMetrics("test")
	m.Watch(Watched{Sites: map[string]*forecast.Site{"a": {}, "b": {}}, Many: true})
	for i, id := range []string{"a", "b"} {
		m.Outlook(&forecast.Outlook{Site: id, Source: forecast.Source{IssuedAt: time.Unix(int64(1000*(i+1)), 0)},
			Days: make([]forecast.Day, 4)})
	}
	all, err := m.Registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		if f.GetName() == "thawline_forecast_issued_timestamp_seconds" {
			if got := f.Metric[0].GetGauge().GetValue(); got != 1000 {
				t.Errorf("the oldest forecast is of %g", got)
			}
			return
		}
	}
	t.Error("deploy/watching asks for thawline_forecast_issued_timestamp_seconds, which there is not with many sites")
}
