package web_test

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"thawline/forecast/records"
	"thawline/testdata"
)

// Whether it drips is said with a thumb, where there is no signal too: it waits on the
// phone and is of the moment at which it was said.
func TestBrowserSaysThatItDrips(t *testing.T) {
	ctx := chromium(t)
	b := serveDemo(t, true, 3, twoHelpers)
	w := b.browser(ctx)
	b.byLink(w, "Odell")
	w.do(chromedp.EmulateViewport(360, 740))
	w.open("/site/kettle/rounds")
	if small := w.js(`[...document.querySelectorAll(".drips button")].filter(b=>b.getBoundingClientRect().height<48||b.getBoundingClientRect().width<120).map(b=>b.innerText).join()`); small != "" {
		t.Errorf("too small for a thumb: %s", small)
	}
	w.shot("drips", 360, false)
	w.shotOf("section.drips", "drips", 360, false)
	kept := func() string {
		stored, err := b.h.Archive.Observations(t.Context(), "kettle", testdata.Now().AddDate(0, 0, -1), time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		out := ""
		for i := range stored {
			out += string(stored[i].Kind) + " "
		}
		return out
	}
	b.noSignal()
	w.click(".drips button[value=not_dripping]")
	w.until("that it waits", `!document.getElementById("kept").hidden && document.querySelector("#kept li").innerText.includes("Not dripping")`)
	if got := kept(); got != "" {
		t.Errorf("%s is kept before there is signal", got)
	}
	b.signal()
	w.js(`document.querySelector("#kept > button").click(), ""`)
	w.until("that it was sent", `document.getElementById("kept").hidden && document.body.innerText.includes("Noted.")`)
	if got := kept(); got != string(records.NotDripping)+" " {
		t.Errorf("kept %s", got)
	}
}
