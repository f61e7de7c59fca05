package web_test

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thawline/testdata"
)

// plainPage is a page's text as somebody reads it.
func (p *pages) plainPage(path string) string {
	p.t.Helper()
	return html.UnescapeString(strings.NewReplacer("\u00a0", " ", "’", "'").Replace(p.must(http.StatusOK, "GET", path, nil)))
}

// A keeper books a visit weeks ahead; the page says what to hold back from when, in which
// order, and the calendar has it. What can't be is refused, and others may not.
func TestSchoolVisits(t *testing.T) {
	p := demoPages(t, nil)
	defer p.h.Remake(t.Context(), nil)()
	const path = "/site/kettle/school"
	for _, want := range []string{"No visit is booked", "Week from", "past spring", "Cautions for children", "arm's length", "in 10"} {
		if !strings.Contains(p.plainPage(path), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	book := func(code int, day, from, to, learners string) {
		t.Helper()
		p.must(code, "POST", path, url.Values{"day": {day}, "from": {from}, "to": {to}, "learners": {learners}})
	}
	soon, far := testdata.Now().AddDate(0, 0, 3).Format(time.DateOnly), testdata.Now().AddDate(0, 0, 30).Format(time.DateOnly)
	book(http.StatusUnprocessableEntity, "2020-03-01", "09:00", "11:30", "20")
	book(http.StatusUnprocessableEntity, soon, "11:30", "09:00", "20")
	book(http.StatusUnprocessableEntity, soon, "09:00", "11:30", "2000")
	book(http.StatusUnprocessableEntity, "someday", "09:00", "11:30", "")
	book(http.StatusSeeOther, soon, "09:00", "11:30", "20")
	book(http.StatusSeeOther, soon, "09:00", "11:30", "20") // twice is once
	book(http.StatusSeeOther, far, "13:00", "15:00", "")
	page := ""
	for range 200 { // until the outlook knows both
		if page = p.plainPage(path); strings.Count(page, "Hold back") == 2 {
			break
		}
	}
	for _, want := range []string{"of sap, of what you carry in from", "of syrup, to stir", "By the clock", "Welcome, rules",
		"It will feel like", "does not reach that day yet", "Look again 1 day before", "Look again 7 days before"} {
		if !strings.Contains(page, want) {
			t.Errorf("the booked visits do not say %q", want)
		}
	}
	ids := regexp.MustCompile(`name="take_back" value="([^"]+)"`).FindAllStringSubmatch(page, -1)
	if len(ids) != 2 {
		t.Fatalf("%d visits can be taken back", len(ids))
	}
	calendar := p.must(http.StatusOK, "GET", "/site/kettle/school.ics", nil)
	if strings.Count(calendar, "BEGIN:VEVENT") != 2 || !strings.Contains(calendar, "Class at") {
		t.Error(calendar)
	}
	p.must(http.StatusSeeOther, "POST", path, url.Values{"take_back": {ids[0][1]}})
	p.must(http.StatusNotFound, "POST", path, url.Values{"take_back": {ids[0][1]}})
}

// A class guesses before it sees ours, once a day; what came is scored for all three, and
// nobody is named.
func TestClassGuesses(t *testing.T) {
	p := demoPages(t, nil)
	const path = "/site/kettle/class"
	before := p.plainPage(path)
	for _, want := range []string{"What do the trees do now?", "Hands for yes", "No names are kept", "The air is at"} {
		if !strings.Contains(before, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, no := range []string{"This page says", "old rule says"} {
		if strings.Contains(before, no) {
			t.Errorf("ours is shown before the class has guessed: %q", no)
		}
	}
	p.must(http.StatusUnprocessableEntity, "POST", path, url.Values{"yes": {"0"}, "no": {"0"}})
	p.must(http.StatusUnprocessableEntity, "POST", path, url.Values{"yes": {"many"}, "no": {"2"}})
	p.must(http.StatusSeeOther, "POST", path, url.Values{"yes": {"15"}, "no": {"5"}})
	p.must(http.StatusSeeOther, "POST", path, url.Values{"yes": {"1"}, "no": {"19"}})
	after := p.plainPage(path)
	for _, want := range []string{"15 of 20 say yes", "This page says", "old rule says", "Go and look"} {
		if !strings.Contains(after, want) {
			t.Errorf("after the guess the page does not say %q", want)
		}
	}
	if strings.Contains(after, "1 of 20") || strings.Contains(after, "Who was right") {
		t.Error("a second guess counts, or a day to come is scored")
	}
}

// The pages beside pan, pot and class fit a phone and a hand in a wet glove.
func TestBrowserForAClass(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	w := b.browser(ctx)
	for _, page := range []string{"school", "class", "sugar", "pan"} {
		for _, width := range []int64{360, 1280} {
			w.do(chromedp.EmulateViewport(width, 900))
			w.open("/site/kettle/" + page)
			if over := w.js(`String(document.documentElement.scrollWidth-document.documentElement.clientWidth)`); over != "0" {
				t.Errorf("%s at %d is %s px too wide", page, width, over)
			}
			if width == 360 {
				w.fitsHands("/site/kettle/" + page)
			}
			w.shot(page, width, false)
		}
	}
}
