package web_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// The page at the sugar pot gives the handbook's point above the reader's own water, keeps
// batches, learns from the third on, and refuses what can't be.
func TestSugarPage(t *testing.T) {
	p := demoPages(t, nil)
	const path = "/site/kettle/sugar"
	page := func(query string) string {
		t.Helper()
		return html.UnescapeString(strings.NewReplacer("\u00a0", " ", "’", "'").Replace(p.must(http.StatusOK, "GET", path+query, nil)))
	}
	for _, want := range []string{"the handbook's point", "Boil plain water first", "Hot sugar burns deep",
		"4.0 gallons of syrup make about 32.0 lb", "it would rather be 28.7 lb", "Keep early, light syrup", "fine thread", "arm's length",
		"invented batches", "third at most"} {
		if !strings.Contains(page(""), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if s := page("?water=210&humidity=50"); !strings.Contains(s,
		"Take it off at 252.5 °F: 42.5 °F above your boiling water (210.0 °F)") || strings.Contains(s, "The air is damp:") &&
		!strings.Contains(s, `data-damp`) {
		t.Error("not the handbook's point above this keeper's water")
	}
	if s := page("?water=210&humidity=70"); !strings.Contains(s, `<p class="stay damp">The air is damp`) {
		t.Error("damp air is not told")
	}
	for _, wrong := range []string{"?water=20", "?water=hot", "?humidity=400"} {
		if s := page(wrong); !strings.Contains(s, "This was not taken") || !strings.Contains(s, "Take it off at 2") {
			t.Errorf("%s is not refused, or takes the point away", wrong)
		}
	}
	post := func(code int, left, outcome string) {
		t.Helper()
		w := p.ask("POST", "/site/kettle/house",
			url.Values{"page": {"sugar"}, "do": {"stirred"}, "units": {"us"}, "left": {left}, "water": {"210"}, "humidity": {"50"},
				"outcome": {outcome}, "syrup": {"1"}, "sugar": {"8"}})
		if w.Code != code || code == http.StatusSeeOther && !strings.Contains(w.Header().Get("Location"), "/sugar?done=done_house") {
			t.Errorf("%s %s: %d %s", left, outcome, w.Code, w.Header().Get("Location"))
		}
	}
	for _, left := range []string{"250.1", "250.2", "250.3"} { // all below the point, and caked
		post(http.StatusSeeOther, left, "caked")
	}
	s := page("?water=210&humidity=50")
	if !strings.Contains(s, "Learnt from 3 batches of yours") || strings.Contains(s, "Take it off at 252.5 °F") ||
		!strings.Contains(s, "40.2 °F above boiling water: damp, it caked") {
		t.Error("three batches that caked have taught nothing")
	}
	post(http.StatusUnprocessableEntity, "212", "poured")
	post(http.StatusUnprocessableEntity, "252", "burnt")
	post(http.StatusUnprocessableEntity, "", "poured")
	back := regexp.MustCompile(`name="take_back" value="([^"]+)"`).FindAllStringSubmatch(s, -1)
	if len(back) != 3 {
		t.Fatalf("%d batches can be taken back", len(back))
	}
	p.must(http.StatusSeeOther, "POST", "/site/kettle/house", url.Values{"page": {"sugar"}, "take_back": {back[0][1]}})
	if !strings.Contains(page("?water=210&humidity=50"), "the handbook's point") {
		t.Error("two batches are too few to learn from")
	}
	if !strings.Contains(p.must(http.StatusOK, "GET", "/site/kettle/boil", nil), `href="/site/kettle/sugar"`) {
		t.Error("the page of the fire does not lead to the sugar")
	}
}

// Without signal the phone finds the point itself, and a batch waits for signal.
func TestBrowserAtTheSugarPot(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	w := b.browser(ctx)
	w.open("/site/kettle/sugar")
	w.shot("sugar", 360, true)
	w.shot("sugar-wide", 1280, true)
	b.noSignal()
	w.fill("form.today input[name=water]", "210")
	w.fill("form.today input[name=humidity]", "70")
	w.click("form.today button")
	w.until("the point in damp air", `document.querySelector("#sugarpot .verdict").textContent.includes("253.4") && document.querySelector("#sugarpot .damp").textContent !== ""`)
}
