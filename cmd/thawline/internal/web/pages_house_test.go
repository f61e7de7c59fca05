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
	page := func() string {
		return strings.ReplaceAll(p.must(200, "GET", "/site/kettle/boil", nil), "\u00a0", " ")
	}
	shows := func(want ...string) {
		t.Helper()
		missing := ""
		for range 20 { // a page waits two seconds at most for the outlook that knows; a slow machine takes longer
			s := page()
			missing = ""
			for _, w := range want {
				if !strings.Contains(s, w) {
					missing = w
				}
			}
			if missing == "" {
				return
			}
		}
		t.Fatalf("no %q in %v", missing, regexp.MustCompile(`[0-9.]+ gallons of sap[^<]*`).FindAllString(page(), -1))
	}
	shows("No sap in the sugarhouse.", "Nobody wrote down what was boiled", `value="boiled"`)
	p.must(303, "POST", "/site/kettle/house", url.Values{"do": {"left"}, "units": {"us"}, "sap": {"120"}, "wood": {"0,4"}})
	shows("51 gallons of sap", "69 gallons of sap", "0.40 full cords of dry hardwood", "Undo") // of two days, together what was seen
	p.must(303, "POST", "/site/kettle/house",
		url.Values{"do": {"boiled"}, "units": {"us"}, "sap": {"100"}, "syrup": {"2.3"}, "hours": {"9"}})
	shows("20 gallons of sap", "2.3 gallons of syrup.")
	lines := regexp.MustCompile(`name="take_back" value="([^"]+)"`).FindAllStringSubmatch(page(), -1)
	if len(lines) != 3 {
		t.Fatalf("%d lines can be taken back", len(lines))
	}
	p.must(303, "POST", "/site/kettle/house", url.Values{"take_back": {lines[0][1]}})
	shows("51 gallons of sap", "69 gallons of sap")
	if s := page(); strings.Contains(s, "2.3 gallons of syrup.") {
		t.Error("taken back, and its syrup is still there")
	}
	for _, bad := range []url.Values{{"do": {"boiled"}}, {"do": {"left"}, "sap": {"a lot"}},
		{"do": {"boiled"}, "sap": {"10"}, "syrup": {"9"}}, {"do": {"left"}}, {"do": {"left"}, "sap": {"9999999"}}} {
		bad["units"] = []string{"us"}
		p.must(422, "POST", "/site/kettle/house", bad)
	}
	p.must(404, "POST", "/site/kettle/house", url.Values{"take_back": {"nothing"}})
}
