package web

import (
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"thawline/alerts/message"
)

// Pages are parsed when they are first shown; every one of them can be.
func TestEveryPageCanBeParsed(t *testing.T) {
	for name, p := range templates {
		if p().Lookup("frame.html") == nil {
			t.Errorf("%s has no frame", name)
		}
	}
}

// No template has words of its own, which would be in one language: not between its tags,
// nor where a reader aloud or a finger finds them.
func TestEveryPageTakesItsWordsFromTheCatalogue(t *testing.T) {
	action := regexp.MustCompile(`(?s)\{\{.*?\}\}`)
	spoken := regexp.MustCompile(`\b(?:aria-label|title|alt|placeholder)="([^"]*)"`)
	tag, entity := regexp.MustCompile(`(?s)<[^>]*>`), regexp.MustCompile(`&[a-z]+;`)
	word := regexp.MustCompile(`\pL{2,}`)
	same := []string{"thawline", "id", "CSV"} // in every language
	err := fs.WalkDir(pageFiles, "pages", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(pageFiles, path)
		if err != nil {
			return err
		}
		text := action.ReplaceAllString(string(data), "")
		said := entity.ReplaceAllString(tag.ReplaceAllString(text, " "), "")
		for _, m := range spoken.FindAllStringSubmatch(text, -1) {
			said += " " + m[1]
		}
		for _, w := range word.FindAllString(said, -1) {
			if !slices.Contains(same, w) {
				t.Errorf("%s says %q itself: give it a key in words/pages.*.toml", path, w)
			}
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

// Every word for what came of a form can be shown, and each that may be shown has its word.
func TestEveryPageKnowsItsNotices(t *testing.T) {
	english, err := message.English()
	if err != nil {
		t.Fatal(err)
	}
	for key := range english {
		if strings.HasPrefix(key, "done_") && !slices.Contains(notices, key) {
			t.Errorf("%s is never shown: add it to notices (view.go)", key)
		}
	}
	for _, key := range notices {
		if _, has := english[key]; !has {
			t.Errorf("%s has no words", key)
		}
	}
}

// Every page of the menu is named in the operator's guide as it is named on screen, and the
// menu fits a phone.
func TestEveryPageIsInTheGuide(t *testing.T) {
	guide, err := os.ReadFile("../../../../deploy/guide/operator.md")
	if err != nil {
		t.Fatal(err)
	}
	v := speaking(t, "en", "us")
	near := 0
	for _, m := range menu {
		if name := message.Settle(v.T(m.key)); !strings.Contains(string(guide), "**"+name+"**") {
			t.Errorf("deploy/guide/operator.md does not say what **%s** is for: add it under \"Pages and logins\"", name)
		}
		if !m.more {
			near++
		}
	}
	if near > 4 {
		t.Errorf("%d places beside \"more\": a phone has room for four", near)
	}
}
