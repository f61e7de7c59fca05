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
