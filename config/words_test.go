package config

import (
	"fmt"
	"strings"
	"testing"
)

// A community's file never stops the settings, whatever is wrong with it, and so
// does nobody who reads its language: not in the settings, nor in a member's file.
func TestWordFilesStopNothing(t *testing.T) {
	c, err := load(t, good+`
language: oj
words: [words/oji.toml, our words.toml, es.txt]
sites_from: members
people:
  - {id: robin, role: keeper, language: anishinaabemowin}
  - {id: odell, role: crew, language: oji}
  - {id: wren, role: viewer, language: fr-CA}
`, map[string]string{"members/a.yaml": strings.Replace(fmt.Sprintf(member, "north"), "role: keeper", "role: keeper, language: zz", 1)})
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(c.Words, " "); got != "words/oji.toml our words.toml es.txt" {
		t.Errorf("files %s: whoever opens them has none to tell of", got)
	}
	if got := strings.Join(c.Languages, " "); got != "en fr oj" || c.Language != "oj" {
		t.Errorf("languages %s, %s is used", got, c.Language)
	}
	read := map[string]string{}
	for _, p := range c.People {
		read[p.ID] = p.Reader.Language
	}
	if want := map[string]string{"robin": "en", "odell": "oj", "wren": "fr", "north-boss": "en"}; fmt.Sprint(read) != fmt.Sprint(want) {
		t.Errorf("%v, want %v", read, want)
	}
	for _, says := range []string{"people[0].language: anishinaabemowin: no file of words has this language; name each file of words by the tag of its language", "a.yaml:9: people[0].language: zz: no file of words"} {
		if !strings.Contains(told(c), says) {
			t.Errorf("%q is not told:\n%s", says, told(c))
		}
	}
	if len(c.LeftOut) > 0 {
		t.Errorf("left out: %v", c.LeftOut)
	}
	// Where every file has a name, an unknown language is a slip of the pen.
	if _, err := load(t, good+"\nwords: [oj.toml]\nlanguage: oh\n", nil); err == nil ||
		!strings.Contains(err.Error(), `language: oh: no such language here; did you mean "oj"?`) {
		t.Error(err)
	}
}
