package message

import (
	"slices"
	"strings"

	"golang.org/x/text/language"
)

// Some texts stand in files alone: how the language is written, names of the people's own,
// and whose the file is.
var (
	habits = map[string][]string{ // with what they may be; nil for anything
		"plural_rule":        nil,
		"sms_parts":          {"1", "2", "3"},
		"sms_accents_may_go": {"yes", "no"},
		"direction":          {"ltr", "rtl"},
		"written_by":         nil,
		"terms":              nil,
	}
	ownNames = []string{"bush_name_", "group_name_", "moon_"}
)

// ofFiles reports whether a key is one that files alone have, and what is wrong with its
// text.
func ofFiles(key, text string) (is bool, wrong string) {
	may, is := habits[key]
	switch {
	case !is:
		return slices.ContainsFunc(ownNames,
			func(begins string) bool { return strings.HasPrefix(key, begins) && len(key) > len(begins) }), ""
	case may != nil && !slices.Contains(may, text):
		return true, "write " + strings.Join(may, " or ")
	case key == "plural_rule":
		if tag, err := language.Parse(text); err != nil || !hasPlurals(tag) {
			return true, "name a language whose words go with numbers in the same way, such as en; without it all numbers take the form other"
		}
	}
	return true, ""
}

// fromRight are the scripts that are written from right to left (Unicode Standard Annex 24
// for their names, chapter 9 for the direction).
var fromRight = []string{"Arab", "Hebr", "Syrc", "Thaa", "Nkoo", "Adlm", "Rohg", "Mand", "Samr"}

// Direction is how the language is written that most of what is said is in: "ltr" or "rtl".
func (w *Words) Direction() string {
	usual, s := "ltr", w.tongues[0]
	if !s.mostly {
		s = w.tongues[len(w.tongues)-1]
	}
	if tag, err := language.Parse(s.tag); err == nil {
		if script, sure := tag.Script(); sure != language.No && slices.Contains(fromRight, script.String()) {
			usual = "rtl"
		}
	}
	return s.habit("direction", usual)
}

// TermsOf are whose a language's file is and on what terms, as it says itself; "" where it
// says nothing, or no file has it.
func (c *Catalogue) TermsOf(tag string) (by, terms string) {
	if s := c.sides[tag]; s != nil {
		return s.habit("written_by", ""), s.habit("terms", "")
	}
	return "", ""
}
