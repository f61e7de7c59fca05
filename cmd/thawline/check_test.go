package main

import (
	"encoding/json"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/cmd/thawline/internal/setup"
	"thawline/testdata"
)

// What check finds is told in the reader's language, one finding a line: a bush that a
// mistake leaves out is bad, and so is a test message that cannot go anywhere.
func TestCheckInFrench(t *testing.T) {
	services := httptest.NewServer(testdata.Handler())
	defer services.Close()
	members := t.TempDir()
	if err := os.WriteFile(filepath.Join(members, "a.yaml"), []byte("sites:\n  - {id: north, latitude: 144.2}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	config := written(t, "c.yaml", strings.Replace(oneBush, "weather: {", "sites_from: "+members+"\nweather: {sources: [met_norway], ", 1))
	env := map[string]string{"THAWLINE_WEATHER_MET_NORWAY_BASE_URL": services.URL}
	out, err := run(t, env, "check", "--config", config, "--lang", "fr", "--send", "robin", "--now", "2026-03-20T21:30:00Z")
	for _, want := range []string{"ok   réglages", "c.yaml : 1 érablière, 1 personne, 0 canal\n",
		"\nNON  mis de côté            " + members + "/a.yaml:2: sites[0]", "\nok   météo met_norway hill", "\nok   note",
		"pas d'avertissements officiels pour hill : ajoutez nws à weather.sources", "\nok   heure à hill", "ven. 17 h 30 EDT",
		"\nNON  message à robin", "rien ne peut être envoyé"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if err == nil || !strings.Contains(err.Error(), "vérifications sur") {
		t.Error(err)
	}
	env["THAWLINE_WEATHER_SOURCES"], env["THAWLINE_WEATHER_NWS_BASE_URL"] = "met_norway,nws", services.URL
	if out, _ = run(t, env, "check", "--config", config, "--now", "2026-03-20T21:30:00Z"); strings.Contains(out, "weather.sources") {
		t.Errorf("warnings are asked for:\n%s", out)
	}
	out, err = run(t, env, "check", "--config", config, "--send", "sam", "--json", "--now", "2026-03-20T21:30:00Z")
	var found []setup.Finding
	if e := json.Unmarshal([]byte(out), &found); e != nil || err == nil || !strings.Contains(out, "they have robin") {
		t.Errorf("%v %v\n%s", e, err, out)
	}
	for _, f := range found {
		if strings.Contains(f.Said, "\n") || strings.Count(f.Said, members) > 1 {
			t.Errorf("more than one finding in %q", f.Said)
		}
	}
}

func TestCheckWithoutSettings(t *testing.T) {
	t.Chdir(t.TempDir())
	out, err := run(t, nil, "check")
	if err == nil || !strings.Contains(out, "BAD  settings") || !strings.Contains(out, "thawline init") {
		t.Errorf("%v\n%s", err, out)
	}
}
