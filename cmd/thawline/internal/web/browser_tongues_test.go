package web_test

import (
	"strings"
	"testing"

	"thawline/config"
	"thawline/testdata/madeup"
)

// A language that is written from right to left, and one with tall letters, break no page:
// the direction is the page's, nothing hangs over its edge, no letter is cut off above or
// below, and no sign of two languages is left in it. The words are made up.
func TestBrowserShowsOtherScripts(t *testing.T) {
	ctx := chromium(t)
	files := []string{madeup.File(t, "art-Hebr", madeup.RightToLeft.Texts(t)), madeup.File(t, "art-Tibt", madeup.Tall.Texts(t))}
	b := serveDemo(t, false, 3, func(c *config.Config) {
		c.Words, c.Languages = files, append(c.Languages, "art-Hebr", "art-Tibt")
	})
	w := b.browser(ctx)
	for _, tag := range []string{"art-Hebr", "art-Tibt"} {
		direction := map[string]string{"art-Hebr": "rtl", "art-Tibt": "ltr"}[tag]
		for _, page := range []string{"/site/kettle", "/site/kettle/rounds", "/site/kettle/season"} {
			w.open(page + "?lang=" + tag)
			if got := w.js(`document.documentElement.dir + " " + document.documentElement.lang`); got != direction+" "+tag {
				t.Errorf("%s: %q, want %s %s", page, got, direction, tag)
			}
			if over := w.js(`String(document.documentElement.scrollWidth-document.documentElement.clientWidth)`); over != "0" {
				t.Errorf("%s, %s: %s pixels hang over the edge", page, tag, over)
			}
			if cut := w.js(`[...document.querySelectorAll("p,li,h1,h2,button,a")].filter(e=>e.offsetParent&&getComputedStyle(e).overflowY==="hidden"&&e.scrollHeight>e.clientHeight+1).map(e=>e.innerText.slice(0,30)).join()`); cut != "" {
				t.Errorf("%s, %s: letters are cut off: %s", page, tag, cut)
			}
			if text := w.text("body"); strings.ContainsAny(text, "\x02\x03\x18\x1f\ufffd") {
				t.Errorf("%s, %s: signs that no text has", page, tag)
			}
			// A name in Latin letters keeps its figures on its own side.
			if apart := strings.Contains(w.text("body"), "\u2068Ridge pails\u2069"); apart != (direction == "rtl") {
				t.Errorf("%s, %s: names are kept apart: %v", page, tag, apart)
			}
			w.shot(page+"-"+tag, 360, false)
		}
	}
}
