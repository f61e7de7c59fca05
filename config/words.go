package config

import (
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/language"
)

// words reads the catalogue files: es.toml adds Spanish.
func (r *reader) words() (files, languages []string) {
	languages = []string{"en", "fr"}
	for i, name := range r.v.GetStringSlice("words") {
		at := "words"
		if r.origin["words"] == "" {
			at = join("words", strconv.Itoa(i))
		}
		tag, err := language.Parse(strings.TrimSuffix(filepath.Base(name), ".toml"))
		if err != nil || !strings.HasSuffix(name, ".toml") {
			r.fail(at, name+": the name is not that of a language", "name the file by the tag of its language, such as es.toml or fr-FR.toml")
			continue
		}
		files = append(files, r.besideFile(at, name))
		if !slices.Contains(languages, tag.String()) {
			languages = append(languages, tag.String())
		}
	}
	return files, languages
}

// language reads one of the languages; fr_CA and fr-CA are fr where no catalogue has
// them.
func (r *reader) language(path string, languages []string, otherwise string) string {
	if found := MatchLanguage(r.text(path), languages); found != "" {
		return found
	}
	return r.oneOf(path, "language", languages, otherwise)
}

// MatchLanguage finds the language that a tag such as fr-CA, or the name of a locale
// such as fr_CA.UTF-8, stands for; "" where there is none.
func MatchLanguage(name string, languages []string) string {
	name, _, _ = strings.Cut(name, ".")
	name, _, _ = strings.Cut(name, "@")
	tag := strings.ReplaceAll(strings.TrimSpace(name), "_", "-")
	base, _, _ := strings.Cut(tag, "-")
	for _, wanted := range []string{tag, base} {
		for _, known := range languages {
			if strings.EqualFold(known, wanted) {
				return known
			}
		}
	}
	return ""
}
