package config

import (
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/text/language"
)

// catalogues reads which files of words there are: es.toml adds Spanish. Nothing that
// may be wrong with one, its name included, stops the settings: whoever opens it
// leaves it out and says so.
func (r *reader) catalogues() (files, languages []string) {
	languages = []string{"en", "fr"}
	for _, given := range r.list("words") {
		at, name := given.at, given.text
		tag, err := language.Parse(strings.TrimSuffix(filepath.Base(name), ".toml"))
		files = append(files, r.besideFile(at, name))
		if err != nil || !strings.HasSuffix(name, ".toml") {
			r.nameless = true
			continue
		}
		if !slices.Contains(languages, tag.String()) {
			languages = append(languages, tag.String())
		}
	}
	return files, languages
}

// tongue is one of the languages; fr_CA and fr-CA are fr where no catalogue has
// them. A language that may be that of a file with a name of no language is told of
// and becomes English.
func tongue() kind[string] {
	return parsed(func(r *reader, path, text string) (string, bool) {
		if found := MatchLanguage(text, r.in.Languages); found != "" {
			return found, true
		}
		if r.nameless {
			r.warn(path, text+": no file of words has this language",
				"name each file of words by the tag of its language, such as es.toml or fr-FR.toml; English until then")
			return "en", true
		}
		return r.known(path, text, "language", r.in.Languages), false
	})
}

// MatchLanguage finds the language that a tag such as fr-CA, or the name of a locale
// such as fr_CA.UTF-8, stands for; "" where there is none.
func MatchLanguage(name string, languages []string) string {
	name, _, _ = strings.Cut(name, ".")
	name, _, _ = strings.Cut(name, "@")
	tag := strings.ReplaceAll(strings.TrimSpace(name), "_", "-")
	base, _, _ := strings.Cut(tag, "-")
	usual := tag
	if parsed, err := language.Parse(tag); err == nil {
		usual = parsed.String() // oji is oj, by which its file is known
	}
	for _, wanted := range []string{tag, usual, base} {
		for _, known := range languages {
			if strings.EqualFold(known, wanted) {
				return known
			}
		}
	}
	return ""
}
