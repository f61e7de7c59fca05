package message

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"thawline/forecast"
)

// recordedParts are how the keys begin of which an evening is made.
var recordedParts = []string{"verdict_", "text_", "danger_warning", "danger_freezing_rain", "danger_wind", "danger_cold", "unit_",
	"weekday_", "clock_noon", "clock_midnight", "spoken_", "either_day"}

// Phrases are what somebody has to speak once, each by itself, so that any evening can be
// put together in their voice: the texts between what is filled in, numbers, and names.
// They are in the order in which they are best read.
func (w *Words) Phrases(sites []forecast.Site) []string {
	var out []string
	add := func(text string) {
		if p := Phrase(text); p != "" && !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	for i := range sites {
		add(w.aloud(w.nameOf("bush_name_"+sites[i].ID, sites[i].Name)))
		for _, g := range sites[i].Groups {
			name := g.Name
			if name == "" {
				name = g.ID
			}
			add(w.aloud(w.nameOf("group_name_"+g.ID, name)))
		}
	}
	t := w.tongues[0]
	for _, begins := range recordedParts {
		for _, key := range inSheetOrder(t.texts) {
			if !strings.HasPrefix(key, begins) || strings.HasPrefix(key, "weekday_short") || key == "text_who" {
				continue
			}
			for _, form := range []string{"one", "other"} {
				for _, piece := range strings.Split(placeholder.ReplaceAllString(t.texts[key].forms()[form], "\x00"), "\x00") {
					add(w.aloud(piece))
				}
			}
		}
	}
	for _, n := range spokenNumbers {
		for _, word := range strings.Fields(w.aloud(fmt.Sprint(n))) {
			add(word)
		}
	}
	return out
}

// spokenNumbers are those whose words make all others.
var spokenNumbers = []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 30, 40, 50, 60, 70, 80, 81, 90,
	100, 200, 1000}

// Phrase is a spoken text as recordings are told apart: in lower case, without stops.
func Phrase(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.Is(unicode.M, r) && r != '\''
	}), " ")
}

// Spliced parts a spoken text into phrases that are recorded, the longest first at each
// word, and says which words are not.
func Spliced(text string, recorded func(phrase string) bool) (phrases, missing []string) {
	words := strings.Fields(Phrase(text))
	for i := 0; i < len(words); {
		n := len(words) - i
		for ; n > 0 && !recorded(strings.Join(words[i:i+n], " ")); n-- {
			continue
		}
		if n == 0 {
			missing = append(missing, words[i])
			i++
			continue
		}
		phrases = append(phrases, strings.Join(words[i:i+n], " "))
		i += n
	}
	return phrases, missing
}
