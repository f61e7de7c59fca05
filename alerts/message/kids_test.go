package message_test

import (
	"slices"
	"strings"
	"testing"

	"thawline/alerts/message"
)

// The page for a class is of grade four or easier, as a whole and in each of its longer
// texts, by Flesch and Kincaid; in French it is very easy by Kandel and Moles.
func TestWordsForChildren(t *testing.T) {
	for _, language := range []string{"en", "fr"} {
		texts, err := message.Embedded(language)
		if err != nil {
			t.Fatal(err)
		}
		fill := strings.NewReplacer("{{.Degrees}}", "40 °F", "{{.Day}}", "Monday", "{{.Yes}}", "12", "{{.All}}", "20", "{{.InTen}}",
			"7", "{{.Class}}", "18", "{{.Ours}}", "16", "{{.Rule}}", "10")
		var whole []string
		for key, text := range texts {
			if !strings.HasPrefix(key, "kids_") || key == "kids_open" {
				continue
			}
			said := fill.Replace(text.Other)
			if whole = append(whole, strings.TrimRight(said, ".!?")+"."); len(strings.Fields(said)) < 7 {
				continue
			}
			if grade := gradeOf(said); language == "en" && grade > 4 {
				t.Errorf("%s: grade %.1f: %s", key, grade, said)
			}
		}
		slices.Sort(whole)
		all := strings.Join(whole, " ")
		if grade := gradeOf(all); language == "en" {
			if t.Logf("the class's page: grade %.1f", grade); grade > 4 {
				t.Errorf("grade %.1f", grade)
			}
		} else if ease := easeOf(all); ease < 90 {
			t.Errorf("French of ease %.0f", ease)
		}
	}
}
