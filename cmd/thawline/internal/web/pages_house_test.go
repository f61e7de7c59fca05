package web_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// What is boiled, lies there or was poured away is written down on the page of the fire;
// stock and fires know it at once, and it can be taken back.
func TestSugarhouseOnThePage(t *testing.T) {
	p := demoPages(t, nil)
	defer p.h.Remake(t.Context(), nil)()
	page := func() string { return p.must(200, "GET", "/site/kettle/boil", nil) }
	if s := page(); !strings.Contains(s, "No sap in the sugarhouse.") || !strings.Contains(s, "Nobody wrote down what was boiled") || !strings.Contains(s, `value="boiled"`) {
		t.Fatalf("%.4000s", s)
	}
	p.must(303, "POST", "/site/kettle/house", url.Values{"do": {"left"}, "units": {"us"}, "sap": {"120"}, "wood": {"0,4"}})
	s := page()
	for _, want := range []string{"120 gallons of sap", "0.40 full cords of dry hardwood", "Undo"} {
		if !strings.Contains(strings.ReplaceAll(s, "\u00a0", " "), want) {
			t.Errorf("no %q in %.6000s", want, s)
		}
	}
	p.must(303, "POST", "/site/kettle/house", url.Values{"do": {"boiled"}, "units": {"us"}, "sap": {"100"}, "syrup": {"2.3"}, "hours": {"9"}})
	if s := page(); !strings.Contains(s, "20 gallons of sap") || !strings.Contains(s, "2.3 gallons of syrup") {
		t.Errorf("%.6000s", s)
	}
	lines := regexp.MustCompile(`name="take_back" value="([^"]+)"`).FindAllStringSubmatch(page(), -1)
	if len(lines) != 3 {
		t.Fatalf("%d lines can be taken back", len(lines))
	}
	p.must(303, "POST", "/site/kettle/house", url.Values{"take_back": {lines[0][1]}})
	if s := page(); !strings.Contains(s, "120 gallons of sap") || strings.Contains(s, "2.3 gallons of syrup.") {
		t.Errorf("taken back: %.6000s", s)
	}
	for _, bad := range []url.Values{{"do": {"boiled"}}, {"do": {"left"}, "sap": {"a lot"}}, {"do": {"boiled"}, "sap": {"10"}, "syrup": {"9"}}, {"do": {"left"}}, {"do": {"left"}, "sap": {"9999999"}}} {
		bad["units"] = []string{"us"}
		p.must(422, "POST", "/site/kettle/house", bad)
	}
	p.must(404, "POST", "/site/kettle/house", url.Values{"take_back": {"nothing"}})
}
