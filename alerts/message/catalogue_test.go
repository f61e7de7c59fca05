package message

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

// Both languages say everything, with the same things to fill in and the same
// plurals.
func TestLanguagesSayTheSame(t *testing.T) {
	english, err := English()
	if err != nil {
		t.Fatal(err)
	}
	french, err := Embedded("fr")
	if err != nil {
		t.Fatal(err)
	}
	if lacking := french.Lacking(english); len(lacking) > 0 {
		t.Errorf("French lacks %v", lacking)
	}
	if lacking := english.Lacking(french); len(lacking) > 0 {
		t.Errorf("English lacks %v", lacking)
	}
	for _, faults := range [][]string{french.Check(english), english.Check(french)} {
		for _, f := range faults {
			t.Error(f)
		}
	}
	for key := range english {
		if (english[key].One == "") != (french[key].One == "") {
			t.Errorf("%s depends on a number in one language only", key)
		}
	}
	if len(english) < 400 {
		t.Errorf("only %d texts", len(english))
	}
}

// Every key that the program asks for by its name is there, and none is there
// that nothing asks for.
func TestKeysAreAskedForAndThere(t *testing.T) {
	english, err := English()
	if err != nil {
		t.Fatal(err)
	}
	var code strings.Builder
	root := filepath.Join("..", "..")
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != root {
			return fs.SkipDir
		}
		if !d.IsDir() && (strings.HasSuffix(path, ".go") && !strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, ".html")) {
			data, err := os.ReadFile(path)
			code.Write(data)
			return err
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	all := code.String()
	for _, m := range regexp.MustCompile(`(?:\.Say|\.T|\.N|\.Plural|\.PluralWith|\.say)[( ]"([a-z0-9_]+)"`).FindAllStringSubmatch(all, -1) {
		if _, has := english[m[1]]; !has && !strings.HasSuffix(m[1], "_") {
			t.Errorf("%s is asked for and not there", m[1])
		}
	}
	for key := range english {
		made := regexp.MustCompile(`_[0-9]+$|_(us|imperial|metric)$`).ReplaceAllString(key, "")
		found := strings.Contains(all, `"`+key+`"`) || strings.Contains(all, `"`+made+`_`)
		for at := strings.LastIndex(key, "_"); at > 0 && !found; at = strings.LastIndex(key[:at], "_") {
			found = strings.Contains(all, `"`+key[:at]+`_"`)
		}
		if !found {
			t.Errorf("nothing asks for %s", key)
		}
	}
}

// examplish makes a catalogue that is obviously an example: each text marked, the
// clock and the comma as elsewhere.
func examplish(t *testing.T, name string) string {
	t.Helper()
	english, err := English()
	if err != nil {
		t.Fatal(err)
	}
	var b, tables strings.Builder
	for _, key := range slices.Sorted(maps.Keys(english)) {
		text := english[key]
		if text.One != "" {
			fmt.Fprintf(&tables, "[%s]\none = %q\nother = %q\n", key, "xx:"+text.One, "xx:"+text.Other)
			continue
		}
		said := "xx:" + text.Other
		switch key {
		case "clock_hours":
			said = "24"
		case "decimal":
			said = ","
		case "language_name":
			said = "Example"
		case "caution_ice": // left to English
			said = ""
		}
		fmt.Fprintf(&b, "%s = %q\n", key, said)
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(b.String()+tables.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A file adds a language without a new program.
func TestAnotherTongue(t *testing.T) {
	c, err := LoadCatalogue(examplish(t, "eo.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if list := c.Languages(); len(list) != 3 || list[0].Tag != "en" || list[1].OwnName != "Français" ||
		list[2] != (Tongue{"eo", "Example"}) {
		t.Errorf("%v", list)
	}
	if c.Missing["eo"] != 1 {
		t.Errorf("%v missing", c.Missing)
	}
	w, err := c.Words(Reader{Language: "eo", Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	o := &forecast.Outlook{Bush: forecast.Bush{Name: "Hill"},
		Days: []forecast.Day{{Date: "2026-03-20"},
			{Date: "2026-03-21", RunProbability: 0.9, Class: forecast.Run, VolumeL: forecast.Range{P10: 50, P50: 100, P90: 200}}}}
	if text := w.Evening(o); !strings.Contains(text, "xx:") {
		t.Error(text)
	}
	if n, unit := w.Volume(7.5); n != "7,5" || unit != "xx:litres" {
		t.Error(n, unit)
	}
	if said := w.Clock(time.Date(2026, 3, 20, 15, 0, 0, 0, time.UTC)); said != "xx:15:00" {
		t.Error(said)
	}
	if said := w.Say("caution_ice", nil); !strings.HasPrefix(said, "Thaw by day") {
		t.Errorf("English does not stand in: %s", said)
	}
	if said := w.Plural("rounds_taps", 1); said != "xx:1 tap" {
		t.Error(said)
	}
	// Words of a language that is there already may be changed one by one.
	path := filepath.Join(t.TempDir(), "fr.toml")
	if err := os.WriteFile(path, []byte("nav_boil = \"Faire bouillir\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if c, err = LoadCatalogue(path); err != nil {
		t.Fatal(err)
	}
	if w, err = c.Words(Reader{Language: "fr"}); err != nil || w.Say("nav_boil", nil) != "Faire bouillir" ||
		w.Say("nav_season", nil) != "Saison" {
		t.Errorf("%v %s", err, w.Say("nav_boil", nil))
	}
	if w, err = c.Words(Reader{Language: "zz"}); err != nil || w.Say("nav_season", nil) != "Season" {
		t.Errorf("a language that there is not: %v", err)
	}
}

// Languages without a rule of plurals say every number with the form "other", and
// are taken for no relative of theirs.
func TestTonguesWithoutPluralRules(t *testing.T) {
	for _, tag := range []string{"oj", "ojb", "oj-Cans", "ciw", "moh", "one", "mic", "abe", "cr", "crk", "zxx", "x-ours"} {
		c, err := LoadCatalogue(examplish(t, tag+".toml"), examplish(t, "fr-CA.toml"))
		if err != nil || len(c.LeftOut) > 0 {
			t.Errorf("%s: %v %v", tag, err, c.LeftOut)
			continue
		}
		w, err := c.Words(Reader{Language: tag})
		if err != nil || w.Language() != tag {
			t.Errorf("%s: %v, words of %s", tag, err, w.Language())
			continue
		}
		for count, want := range map[int]string{0: "xx:0 taps", 1: "xx:1 taps", 2: "xx:2 taps"} {
			if said := w.Plural("rounds_taps", count); said != want {
				t.Errorf("%s: %d: %q, want %q", tag, count, said, want)
			}
		}
		if said := w.Say("caution_ice", nil); !strings.HasPrefix(said, "Thaw by day") {
			t.Errorf("%s: English does not stand in: %s", tag, said)
		}
		if french, err := c.Words(Reader{Language: "fr"}); err != nil || french.Plural("rounds_taps", 1) != "1 entaille" {
			t.Errorf("%v French: %q", err, french.Plural("rounds_taps", 1))
		}
		if english, err := c.Words(Reader{Language: "en"}); err != nil || english.Plural("rounds_taps", 1) != "1 tap" {
			t.Errorf("%v English: %q", err, english.Plural("rounds_taps", 1))
		}
	}
}

// A file that can't be used is left out; the others, and what came with the program,
// go on. Who reads its language reads the nearest there is.
func TestUnusableFilesAreLeftOut(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"fr.toml": `nav_boil = "{{.Nom}}"`, "fr-CA.toml": "nav_boil = ",
		"oj.toml": `nav_bioil = "x"`, "cr.toml": strings.Repeat("#", mostBytes+1), "our words.toml": ""} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "moh.toml"), 0o700); err != nil {
		t.Fatal(err)
	}
	var files []string
	for _, name := range []string{"fr.toml", "fr-CA.toml", "oj.toml", "cr.toml", "our words.toml", "moh.toml", "none/mic.toml"} {
		files = append(files, filepath.Join(dir, name))
	}
	c, err := LoadCatalogue(append(files, examplish(t, "eo.toml"))...)
	if err != nil || len(c.LeftOut) != len(files) {
		t.Fatalf("%v %v", err, c)
	}
	for i, file := range files {
		if !strings.Contains(c.LeftOut[i].Error(), file) {
			t.Errorf("%s is not named: %v", file, c.LeftOut[i])
		}
	}
	for tag, want := range map[string][2]string{"fr": {"fr", "Bouillage"}, "fr-CA": {"fr", "Bouillage"}, "oj": {"en", "Boil"},
		"moh": {"en", "Boil"}, "eo": {"eo", "xx:Boil"}} {
		w, err := c.Words(Reader{Language: tag})
		if err != nil || w.Language() != want[0] || w.Say("nav_boil", nil) != want[1] {
			t.Errorf("%s: %v %s %q, want %v", tag, err, w.Language(), w.Say("nav_boil", nil), want)
		}
	}
	if list := c.Languages(); len(list) != 3 {
		t.Errorf("%v may be chosen", list)
	}
}

// A catalogue is a stranger's data: what is wrong is told with its place, and
// nothing in it is run.
func TestBrokenCatalogues(t *testing.T) {
	for text, says := range map[string]string{
		`nav_boil = "x`:                              "line 1",
		`nav_bioil = "x"`:                            "nothing asks for this key; did you mean \"nav_boil\"?",
		`nav_boil = "{{.Name}}"`:                     "{{.Name}} is not given here; there is nothing to fill in",
		`chart_title = "{{.Nom}}"`:                   "{{.Nom}} is not given here; there is {{.Name}}",
		`chart_title = "{{.Name"`:                    "the braces do not close",
		`chart_title = "{{printf \"%1000000d\" 1}}"`: "the braces do not close",
		`chart_title = "{{len .Name}}"`:              "the braces do not close",
		`chart_title = "{{range .Name}}x{{end}}"`:    "only plain placeholders",
		`chart_title = "{{.Name | .Name}}"`:          "only plain placeholders",
		`chart_title = "{{define \"x\"}}{{end}}"`:    "only plain placeholders",
		`chart_title = "{{.Name.Name}}"`:             "only plain placeholders",
		`chart_title = 3`:                            "write it in quotes",
		"[rounds_taps]\nmost = \"x\"":                "plurals are zero, one, two",
		"[rounds_taps]\none = \"x\"":                 "the form other is missing",
	} {
		path := filepath.Join(t.TempDir(), "eo.toml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := leftOut(t, path); !strings.Contains(err, says) || !strings.Contains(err, "eo.toml") {
			t.Errorf("%s: %v", text, err)
		}
	}
	dir := t.TempDir()
	huge := filepath.Join(dir, "eo.toml")
	if err := os.WriteFile(huge, []byte("# "+strings.Repeat("x", mostBytes)), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{huge: "more than any catalogue has",
		filepath.Join(dir, "words of ours.toml"): "not that of a language", filepath.Join(dir, "es.toml"): "no such file"} {
		if err := leftOut(t, path); !strings.Contains(err, says) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// leftOut is what is said of a file that is left out.
func leftOut(t *testing.T, path string) string {
	t.Helper()
	c, err := LoadCatalogue(path)
	if err != nil || len(c.LeftOut) != 1 {
		t.Fatalf("%s: %v %v", path, err, c)
	}
	return c.LeftOut[0].Error()
}

func BenchmarkWords(b *testing.B) {
	for b.Loop() {
		w, err := NewWords(Reader{Language: "fr", Units: units.Metric})
		if err != nil || w.Say("nav_boil", nil) == "" {
			b.Fatal(err)
		}
	}
}
