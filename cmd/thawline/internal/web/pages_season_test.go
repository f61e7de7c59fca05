package web_test

import (
	"encoding/json"
	"html"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/units"
)

// The page of the season says what the outlook of the API says, in its title, its picture
// and its lists, in each language and unit.
func TestSeasonPageSaysTheOutlook(t *testing.T) {
	p := demoPages(t, nil)
	var o forecast.Outlook
	if err := json.Unmarshal([]byte(p.must(200, "GET", "/api/v1/sites/kettle/outlook", nil)), &o); err != nil {
		t.Fatal(err)
	}
	if o.Season.Sap == nil || o.Season.Warmth == nil || len(o.Season.Groups) != 3 {
		t.Fatalf("nothing is still to come: %+v", o.Season.Groups)
	}
	catalogue, err := message.LoadCatalogue()
	if err != nil {
		t.Fatal(err)
	}
	for _, lang := range []string{"en", "fr"} {
		for _, system := range []units.System{units.US, units.Metric} {
			page := html.UnescapeString(p.must(200, "GET", "/site/kettle/season?lang="+lang+"&units="+string(system), nil))
			page = strings.ReplaceAll(page, "\u00a0", " ")
			words, err := catalogue.Words(message.Reader{Language: lang, Units: system})
			if err != nil {
				t.Fatal(err)
			}
			title, under := sections.SeasonAnswer(&o, words)
			if lang == "en" && system == units.US { // the guide's example is this season too
				sameSeasonAsTheGuide(t, under)
			}
			if !strings.Contains(page, "<h1>"+title+"</h1>") || !strings.Contains(page, under) {
				t.Errorf("%s, %s: the page does not say %q, %q", lang, system, title, under)
			}
			for _, s := range sections.OfSeason(&o, words, system) {
				for _, l := range s.Lines {
					if s.Name == sections.TapsIn && !strings.Contains(page, l.Text) {
						t.Errorf("%s, %s: not on the page: %s", lang, system, l.Text)
					}
				}
			}
			if strings.Count(page, `class="fade"`) < 10 || strings.Count(page, "<svg") < 2 {
				t.Errorf("%s, %s: no picture whose end fades", lang, system)
			}
		}
	}
}

// sameSeasonAsTheGuide holds how much ran so far against the guide's example. That is by the
// same weather as one course, which is drawn from by other numbers: a hundredth of chance, and
// both are rounded.
func sameSeasonAsTheGuide(t *testing.T, under string) {
	t.Helper()
	guide, err := os.ReadFile("../../../../deploy/guide/commands.md")
	if err != nil {
		t.Fatal(err)
	}
	figure := regexp.MustCompile(`(?m)^(\d+) gallons ran so far, `)
	page, example := figure.FindStringSubmatch(under), figure.FindStringSubmatch(string(guide))
	if page == nil || example == nil {
		t.Fatalf("no gallons ran so far: %q", under)
	}
	got, _ := strconv.ParseFloat(page[1], 64) // digits
	want, _ := strconv.ParseFloat(example[1], 64)
	if math.Abs(got-want) > 0.02*want {
		t.Errorf("the guide's example has %q, the page %q", example[0], page[0])
	}
}
