package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
)

// A weather service that nobody can read of, or that pages call by its name in the settings,
// was added by half.
func TestEveryAdditionIsWrittenDown(t *testing.T) {
	example := pageAt(t, "config/example.yaml")
	commands := pageAt(t, "deploy/guide/commands.md")
	catalogue, err := message.LoadCatalogue()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range source.All() {
		if !regexp.MustCompile(`(?m)^ +#? *` + s.Name() + `:$`).MatchString(example) {
			t.Errorf("config/example.yaml does not show weather.%s", s.Name())
		}
		if !strings.Contains(commands, "`"+s.Name()+"`") {
			t.Errorf("deploy/guide/commands.md does not name %s", s.Name())
		}
		for _, l := range []string{"en", "fr"} {
			words, err := catalogue.Words(message.Reader{Language: l, Units: units.US})
			if err != nil {
				t.Fatal(err)
			}
			if name := words.Service(s.Name()); name == s.Name() {
				t.Errorf("%s.toml: service_%s is missing", l, s.Name())
			}
		}
	}
	for _, k := range channel.Kinds() {
		if !regexp.MustCompile(`\b` + k.Name + `\b`).MatchString(example) {
			t.Errorf("config/example.yaml does not name channels of kind %s", k.Name)
		}
	}
}

func pageAt(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile("../../" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
