package web_test

import (
	"context"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/web"
	"thawline/forecast"
)

// What a new page forgets, page by page: tests whose names the recipe in DEVELOPERS.md matches.

// No route below a bush answers for a bush that there is not: as one that forgets to look
// answers for bushes that somebody may not see.
func TestEveryRouteIsOfItsBush(t *testing.T) {
	p := demoPages(t, nil)
	router := chi.NewRouter()
	p.h.Pages.Register(router)
	routes := 0
	err := chi.Walk(router, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		if !strings.HasPrefix(pattern, "/site/{site}/") {
			return nil
		}
		routes++
		path := strings.NewReplacer("{site}", "none", "{id}", "none").Replace(strings.TrimSuffix(pattern, "/"))
		if code := p.ask(method, path, url.Values{}).Code; code != http.StatusNotFound {
			t.Errorf("%s %s of a bush that there is not: %d, not 404: let its handler begin with ofSite", method, pattern, code)
		}
		return nil
	})
	if err != nil || routes < 30 {
		t.Errorf("%d routes: %v", routes, err)
	}
}

// menuOf are the addresses in the menu of a page.
func menuOf(page string) (hrefs []string) {
	_, after, _ := strings.Cut(page, `<nav class="menu"`)
	nav, _, _ := strings.Cut(after, "</nav>")
	for _, m := range regexp.MustCompile(`<a href="([^"]*)"`).FindAllStringSubmatch(nav, -1) {
		hrefs = append(hrefs, m[1])
	}
	return hrefs
}

// Every page of the menu is marked there as the one that is looked at, and has a title of
// its own.
func TestEveryPageIsMarkedInTheMenu(t *testing.T) {
	p := demoPages(t, nil)
	menu := menuOf(p.must(200, "GET", "/site/kettle", nil))
	if len(menu) < 9 {
		t.Fatalf("a menu of %q", menu)
	}
	titled := map[string]string{}
	for _, at := range menu {
		page := p.must(200, "GET", at, nil)
		if !strings.Contains(page, `<a href="`+at+`" aria-current="page"`) {
			t.Errorf("%s is not marked in its own menu: give ofSite its row's page in menu (view.go)", at)
		}
		_, title, _ := strings.Cut(page, "<title>")
		title, _, _ = strings.Cut(title, "</title>")
		if other, is := titled[title]; is {
			t.Errorf("%s and %s are both titled %q: nobody finds them in tabs", other, at, title)
		}
		titled[title] = at
	}
}

// Every page has one heading of the first rank, which a reader aloud begins with, and times
// of day as its language writes them.
func TestEveryPageIsHeadedAndTimed(t *testing.T) {
	p := demoPages(t, nil)
	clock := map[string]*regexp.Regexp{ // "3:05" without am or pm in English, at all in French
		"en": regexp.MustCompile(`\b\d{1,2}:\d\d\b(?:[^\s\x{a0}]|[\s\x{a0}][^ap]|$)`), "fr": regexp.MustCompile(`\b\d{1,2}:\d\d\b`)}
	tag := regexp.MustCompile(`<[^>]*>`)
	for _, at := range p.sitePages("") {
		join := "?"
		if strings.Contains(at, "?") {
			join = "&"
		}
		for lang, wrong := range clock {
			s := p.must(200, "GET", at+join+"lang="+lang, nil)
			if n := strings.Count(s, "<h1"); lang == "en" && n != 1 {
				t.Errorf("%s has %d headings <h1>, not one", at, n)
			}
			if said := wrong.FindString(tag.ReplaceAllString(s, "|")); said != "" {
				t.Errorf("%s in %s writes a time as %q: let words.Time do it", at, lang, said)
			}
			if message.Tied(s, lang) != s {
				t.Errorf("%s in %s parts a sign or a unit from its word or figure: let send write it", at, lang)
			}
		}
	}
}

// noOutlook is a daemon that has not had any weather yet.
type noOutlook struct{ web.Outlooks }

func (noOutlook) Outlook(context.Context, string) *forecast.Outlook { return nil }

// Every page opens before the first weather has come.
func TestEveryPageOpensWithoutAnOutlook(t *testing.T) {
	p := demoPages(t, nil)
	p.h.Pages.Outlooks = noOutlook{p.h.Pages.Outlooks}
	for _, at := range p.sitePages("") {
		if code := p.ask("GET", at, nil).Code; code != http.StatusOK {
			t.Errorf("%s: %d: an outlook is nil until the first weather comes; the template \"none\" says so", at, code)
		}
	}
}
