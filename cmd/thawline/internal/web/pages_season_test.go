package web_test

import (
	"encoding/json"
	"html"
	"os"
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
			words, err := catalogue.Words(message.Reader{Language: lang, Units: system})
			if err != nil {
				t.Fatal(err)
			}
			title, under := sections.SeasonAnswer(&o, words)
			if lang == "en" && system == units.US { // the guide's example is this season too
				guide, err := os.ReadFile("../../../../deploy/guide/commands.md")
				soFar, _, _ := strings.Cut(under, ",")
				if err != nil || !strings.HasSuffix(soFar, " gallons so far") || !strings.Contains(string(guide), "\n"+soFar+", ") {
					t.Errorf("%v: the guide's example does not say %q, as the page does", err, soFar)
				}
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
