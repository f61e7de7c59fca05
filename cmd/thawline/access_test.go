package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestAccessCommands(t *testing.T) {
	config := written(t, "c.yaml", `
sites:
  - {id: hill, latitude: 44.2, longitude: -72.8, elevation: 400 m, zone: America/New_York, groups: [{id: south, taps: 50, collected_by: pail, container: 8 L}]}
people: [{id: robin, name: Robin, role: keeper}]
serve: {listen: "0.0.0.0:8787", link: "https://bush.example.org/sap"}
`)
	env := map[string]string{"THAWLINE_DATA_DIR": t.TempDir(), "THAWLINE_WEATHER_CONTACT": "a@example.org"}
	must := func(args ...string) string {
		t.Helper()
		out, err := run(t, env, append(args, "--config", config)...)
		if err != nil {
			t.Fatalf("%v: %v", args, err)
		}
		return out
	}
	if code := strings.TrimSpace(must("access", "code")); len(code) != len("ABCD-EFGH-JKLM") {
		t.Errorf("code %q", code)
	}
	if link := must("access", "link", "--name", "helpers", "--site", "hill"); !strings.HasPrefix(link, "https://bush.example.org/sap/l/") {
		t.Errorf("link %q", link)
	}
	must("access", "link", "--person", "robin")
	token := must("access", "token", "--name", "scale", "--scopes", "records:write,outlook:read", "--json")
	if !strings.Contains(token, `"token": "thawline_`) {
		t.Error(token)
	}
	var list []granted
	if err := json.Unmarshal([]byte(must("access", "list", "--json")), &list); err != nil || len(list) != 3 {
		t.Fatalf("%v %+v", err, list)
	}
	if said := must("access", "list"); strings.Contains(said, strings.TrimSpace(token)) ||
		!strings.Contains(said, "scale (records:write outlook:read all sites)") {
		t.Error(said)
	}
	must("access", "withdraw", list[0].ID)
	if said := must("access", "list"); !strings.Contains(said, "ended") {
		t.Error(said)
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"access", "link", "--name", "x", "--role", "keeper"}, "roles crew and viewer"},
		{[]string{"access", "link"}, "needs the name"},
		{[]string{"access", "token", "--name", "x", "--scopes", "all"}, "not good for that"},
		{[]string{"access", "withdraw", "none"}, "no link or token of that id"},
		{[]string{"access", "withdraw"}, "thawline access list shows"},
		{[]string{"access", "link", "--person", "nobody"}, "there is no such person; the settings have robin"},
		{[]string{"access", "link", "--name", "x", "--site", "no-such"}, "the settings have hill"},
		{[]string{"access", "token", "--name", "x", "--site", "hil", "--scopes", "records:write"}, `did you mean "hill"?`},
		{[]string{"access", "token", "--name", "x", "--scopes", "everything"}, "write some of "},
	} {
		if _, err := run(t, env, append(c.args, "--config", config)...); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v", c.args, err)
		}
	}
}

func TestWordsCommands(t *testing.T) {
	for _, from := range []string{"", "fr"} {
		args := []string{"words", "export"}
		if from != "" {
			args = append(args, "--from", from)
		}
		out, err := run(t, nil, args...)
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "fr-FR.toml")
		if err := os.WriteFile(file, []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
		said, err := run(t, nil, "words", "check", file)
		if err != nil {
			t.Fatalf("what was written is wrong: %v\n%s", err, said)
		}
		if all := strings.Contains(said, "(100 %)"); all != (from == "fr") || strings.Contains(said, "missing nav_boil: Boil") == all {
			t.Errorf("%.300s", said)
		}
	}
	if _, err := run(t, nil, "words", "export", "--from", "zz"); err == nil || !strings.Contains(err.Error(), "write en or fr") {
		t.Error(err)
	}
	wrong := written(t, "eo.toml", "nav_bioil = \"x\"\n")
	out, err := run(t, nil, "words", "check", wrong, "--json")
	if err == nil || !strings.Contains(err.Error(), "1 texts of") || !strings.Contains(out, `nav_bioil: nothing asks for this key`) {
		t.Errorf("%v %.300s", err, out)
	}
	out, err = run(t, nil, "words", "check", written(t, "eo.toml", "word_stop = \"haltu, ok\"\n"))
	if err == nil || !strings.Contains(out, `WRONG   word_stop: "ok" has a meaning already (word_seen)`) || strings.Contains(out, "haltu") {
		t.Errorf("%v %.300s", err, out)
	}
	if _, err := run(t, nil, "words", "check"); err == nil || !strings.Contains(err.Error(), "name one catalogue file") {
		t.Error(err)
	}
	// A language of a file can be chosen in the settings.
	good := written(t, "eo.toml", "nav_boil = \"Boligi\"\n")
	config := written(t, "c.yaml", `
words: [`+good+`]
language: eo
sites:
  - {id: hill, latitude: 44.2, longitude: -72.8, elevation: 400 m, zone: America/New_York, groups: [{id: south, taps: 50, collected_by: pail, container: 8 L}]}
`)
	env := map[string]string{"THAWLINE_WEATHER_CONTACT": "a@example.org"}
	if _, err := run(t, env, "records", "list", "--config", config); err != nil {
		t.Error(err)
	}
	if _, err := run(t, env, "records", "list", "--config", config, "--lang", "es"); err == nil ||
		!strings.Contains(err.Error(), "write en or fr or eo") {
		t.Error(err)
	}
}
