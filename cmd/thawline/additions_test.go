package main

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"thawline/alerts"
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

// heard are the places of the guides that say who hears what, by their language, and what
// each calls an audience.
var heard = []struct {
	language, page, title string
	audiences             map[alerts.Audience]string
}{
	{"en", "deploy/guide/sugar-maker.md", "Who hears what", map[alerts.Audience]string{alerts.Everybody: "Everybody",
		alerts.WhoGathers: "Keepers and crew", alerts.WhoBringsOthers: "Keepers and visitors", alerts.Keepers: "Keepers alone"}},
	{"fr", "deploy/guide/sucrier.md", "Qui reçoit quoi", map[alerts.Audience]string{alerts.Everybody: "Tout le monde",
		alerts.WhoGathers: "Responsables et équipe", alerts.WhoBringsOthers: "Responsables et visiteurs",
		alerts.Keepers: "Responsables seulement"}},
}

// The guides name every kind of message that is sent by role, as pages call it, with those
// who hear it, and no other.
func TestGuidesSayWhoHearsWhat(t *testing.T) {
	for _, of := range heard {
		texts, err := message.Embedded(of.language)
		if err != nil {
			t.Fatal(err)
		}
		_, rest, found := strings.Cut(pageAt(t, of.page), "\n## "+of.title+"\n")
		if !found {
			t.Fatalf("%s has no part %q", of.page, of.title)
		}
		part, _, _ := strings.Cut(rest, "\n## ")
		for audience, called := range of.audiences {
			line := regexp.MustCompile(`(?m)^- \*\*` + called + `\*\*.*$`).FindString(part)
			var want []string
			for _, k := range alerts.KindsWhere(func(p *alerts.Profile) bool { return p.Audience == audience }) {
				want = append(want, texts["kind_"+string(k)].Other)
			}
			var got []string
			for _, m := range regexp.MustCompile(`[^*]\*([^*]+)\*[^*]`).FindAllStringSubmatch(line, -1) {
				got = append(got, m[1])
			}
			for _, name := range want {
				if !slices.Contains(got, name) {
					t.Errorf("%s, %s: %q is missing beside %q: write *%s* and when it comes", of.page, of.title, name, called, name)
				}
			}
			for _, name := range got {
				if !slices.Contains(want, name) {
					t.Errorf("%s, %s: %q does not go to %q by its row in alerts/kinds.go", of.page, of.title, name, called)
				}
			}
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
