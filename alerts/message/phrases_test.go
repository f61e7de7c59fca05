package message

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"thawline/forecast/units"
)

// What the program says in English comes in the reader's words, whole or in its parts;
// names, paths and what nobody has translated stay as they are.
func TestPhrases(t *testing.T) {
	french, err := NewWords(Reader{Language: "fr", Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	english, err := NewWords(Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ said, want string }{
		{`bakctest: no such command; did you mean "backtest"?`, `bakctest : pas de commande de ce nom; vouliez-vous dire "backtest"?`},
		{"c.yaml:12: sites[0].latitude: 144.2: a latitude lies between -90 and 90; write degrees north, such as 44.35",
			"c.yaml:12: sites[0].latitude: 144.2 : une latitude va de -90 à 90; écrivez les degrés nord, comme 44.35"},
		{"bush.yaml:7: sites[0].zone: the time zone is missing; write its IANA name, such as America/New_York",
			"bush.yaml:7: sites[0].zone: le fuseau horaire manque; écrivez son nom IANA, comme America/New_York"},
		{"bush.yaml:10: sites[0].sone: no such setting here; known here: id, zone",
			"bush.yaml:10: sites[0].sone: pas de réglage de ce nom ici; on connaît ici : id, zone"},
		{"log.csv:2: date: 3/8/2025: not a date; write year-month-day: 2025-03-08 or 2025-08-03",
			"log.csv:2: date: 3/8/2025: ce n'est pas une date; écrivez année-mois-jour : 2025-03-08 ou 2025-08-03"},
		{"--when: 03/11/2025 may be two days: write 2025-03-11 or 2025-11-03",
			"--when: 03/11/2025 peut être deux jours : écrivez 2025-03-11 ou 2025-11-03"},
		{"dial tcp 127.0.0.1:1: connect: connection refused", "dial tcp 127.0.0.1:1: connect: connection refused"},
		{"a\n  not a date", "a\n  ce n'est pas une date"},
		{"nobody has said this", "nobody has said this"}, {"", ""},
	} {
		if got := strings.ReplaceAll(french.Phrase(c.said), "\u00a0", " "); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
		if got := english.Phrase(c.said); got != c.said {
			t.Errorf("English became %q", got)
		}
	}
}

// Both sides of a phrase have the same holes, and none is a hole alone: it would fit
// everything.
func TestPhrasesHaveTheSameHoles(t *testing.T) {
	for _, file := range []string{"phrases/help.fr.toml", "phrases/errors.fr.toml"} {
		data, err := embeddedPhrases.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		said, err := decode(file, data)
		if err != nil {
			t.Fatal(err)
		}
		for _, english := range slices.Sorted(maps.Keys(said)) {
			other, isText := said[english].(string)
			holes := strings.Count(english, hole)
			if !isText || other == "" || strings.Count(other, hole) > holes || strings.Trim(english, "{} ") == "" {
				t.Errorf("%s: %q: %q", file, english, other)
			}
			if named := regexp.MustCompile("`[^`]+`"); len(named.FindAllString(english, -1)) != len(named.FindAllString(other, -1)) {
				t.Errorf("%s: %q and %q do not both name what is to be given", file, english, other)
			}
		}
	}
}
