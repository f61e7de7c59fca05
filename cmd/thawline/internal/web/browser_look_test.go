package web_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// Choosing a day, French, dark, print, and everything by keyboard.
func TestBrowserReads(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	w := b.browser(ctx)

	w.open("/site/kettle/flow")
	w.click("details.pick summary")
	w.js(`document.querySelector("input[name=from]").value="2024-03-10","set"`)
	w.click("form.line button")
	w.until("days of another year", `location.search.includes("from=2024-03-10") && document.querySelector("#flow-rows tbody tr th").textContent.includes("Sun 10 midnight")`)
	w.click(`a[rel=prev]`)
	w.until("the days before", `document.querySelector("input[name=from]").value=="2024-02-29"`)

	w.open("/site/kettle")
	w.click(`footer a[lang=fr]`)
	w.until("French", `document.documentElement.lang=="fr" && document.querySelector("h1").innerText.includes("demain")`)
	w.open("/site/kettle/rounds")
	if said := w.text("body"); !strings.Contains(said, "Pas vérifié") || strings.Contains(said, "Not checked") {
		t.Errorf("French is not kept: %s", said)
	}
	w.click(`footer a[lang=en]`)
	w.until("English", `document.documentElement.lang=="en"`)

	// By keyboard: past the menu, along the picture, to the value.
	w.open("/site/kettle")
	w.do(chromedp.KeyEvent(kb.Tab))
	w.until("the way past the menu", `document.activeElement.className=="skip"`)
	w.open("/site/kettle/flow")
	w.js(`document.querySelector("figure.reads").focus(),"focused"`)
	w.do(chromedp.KeyEvent(kb.ArrowRight))
	w.until("now is read", `document.querySelector(".readout").textContent.includes("Fri 20")`)
	w.do(chromedp.KeyEvent(kb.Enter))
	w.until("one day", `location.search.includes("days=1&from=2026-03-20") && !document.querySelector(".days")`)
	w.js(`document.querySelector("figure.reads").focus(),"focused"`)
	w.do(chromedp.KeyEvent(kb.Escape))
	w.until("the days around it", `location.search.includes("days=10")`)
	w.click(`.days a:nth-child(4)`)
	w.until("the day by thumb", `location.search.includes("days=1&from=2026-03-20") || location.search.includes("from=2026-03-20&days=1")`)
	w.click(`a.zoomout`)
	w.until("and back", `location.search.includes("days=10")`)
	w.open("/site/kettle/flow")
	w.js(`document.querySelector("figure.reads").focus(),"focused"`)
	w.do(chromedp.KeyEvent(kb.ArrowRight))
	w.until("now is read again", `document.querySelector(".readout").textContent.includes("Fri 20")`)
	before := w.text(".readout")
	w.do(chromedp.KeyEvent(kb.ArrowRight))
	w.until("the next hour is read", fmt.Sprintf(`document.querySelector(".readout").innerText!=%q`, before))
	w.js(`document.querySelector(".menu .near a").focus(),"focused"`)
	w.do(chromedp.KeyEvent(kb.Enter))
	w.until("the rest of the menu", `location.pathname.endsWith("/more") && document.querySelectorAll(".ways a").length>4`)
	w.open("/site/kettle/rounds")
	w.js(`document.querySelector("#g-ridge input[name=volume]").focus(),"focused"`)
	w.do(chromedp.KeyEvent("12"), chromedp.KeyEvent(kb.Enter))
	w.until("an entry by keyboard", `document.querySelector(".sent")?.textContent.includes("12 gallons")`)
	w.click("#g-ridge form.taken button")
	w.until("it is taken back", `document.querySelector(".notice")?.textContent.includes("Taken back")`)
	// By finger.
	w.open("/site/kettle/flow")
	w.js(`document.querySelector("figure.reads").scrollIntoView(),"there"`)
	w.js(`(()=>{const s=[...document.querySelectorAll("figure.reads svg")].find(s=>s.getClientRects().length),r=s.getBoundingClientRect();s.dispatchEvent(new PointerEvent("pointerdown",{clientX:r.left+r.width/2,clientY:r.top+50,pointerType:"touch"}));return "touched"})()`)
	w.until("a value by finger", `document.querySelector(".readout").textContent.includes("·") && !!document.querySelector("line.reading")`)

	// Dark.
	light := w.js(`getComputedStyle(document.body).backgroundColor`)
	w.dark(true)
	if dark := w.js(`getComputedStyle(document.body).backgroundColor`); dark == light {
		t.Errorf("dark is as bright as light: %s", dark)
	}
	w.dark(false)

	// The wall sheet on paper: one page, without menu.
	w.open("/site/kettle/wall")
	pdf, err := chromedp.Run(w.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperLetter), chromedp.PDFPreferCSSPageSize()))
	if err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("THAWLINE_SHOTS"); dir != "" {
		_ = os.WriteFile(filepath.Join(dir, "wall.pdf"), pdf, 0o600)
	}
	if n := bytes.Count(pdf, []byte("/Type /Page\n")); n != 1 {
		t.Errorf("the wall sheet has %d pages", n)
	}
}

func (w *browser) dark(on bool) {
	w.t.Helper()
	value := "light"
	if on {
		value = "dark"
	}
	if _, err := chromedp.Call(w.ctx, emulation.SetEmulatedMedia,
		emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: value}}}); err != nil {
		w.t.Fatal(err)
	}
}

// Why it was off, and what became of warnings, is read on a phone without scrolling sideways, each figure
// with the name of its column.
func TestBrowserManyColumnsOnAPhone(t *testing.T) {
	w := servePages(t, false).browser(chromium(t))
	for page, columns := range map[string]int{"review?lang=en": 6, "review?lang=fr": 6, "skill?lang=en": 5, "skill?lang=fr": 5} {
		w.do(chromedp.EmulateViewport(360, 740))
		w.open("/site/kettle/" + page)
		w.js(`document.querySelectorAll("main details").forEach(d=>d.open=true),"open"`)
		if hidden := w.js(`[...document.querySelectorAll("main .wide")].map(e=>e.scrollWidth-e.clientWidth).join()`); strings.Trim(hidden, "0,") != "" ||
			hidden == "" {
			t.Errorf("%s: the tables are so much wider than the phone: %s", page, hidden)
		}
		heads := w.js(`[...document.querySelectorAll("main .told tr:last-child td")].map(e=>getComputedStyle(e,"::before").content).join("|")`)
		if got := strings.Count(heads, "|") + 1; got%columns != 0 || strings.Contains(heads, "none") {
			t.Errorf("%s: figures without their column: %s", page, heads)
		}
		w.shot("/site/kettle/phone-"+page, 360, false)
	}
}

// shot keeps a picture of a page where THAWLINE_SHOTS names a folder.
func (w *browser) shot(path string, width int64, dark bool) {
	dir := os.Getenv("THAWLINE_SHOTS")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(w.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		w.t.Fatal(err)
	}
	name := strings.NewReplacer("/", "-", "?", "-", "=", "-").Replace(strings.Trim(path, "/"))
	theme := "light"
	if dark {
		theme = "dark"
	}
	if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d-%s.png", name, width, theme)), picture, 0o600); err != nil {
		w.t.Fatal(err)
	}
}

// The pictures of the README and the guide, from the demonstration: THAWLINE_SCREENS
// names the folder in which they are made anew.
func TestScreens(t *testing.T) {
	dir := os.Getenv("THAWLINE_SCREENS")
	if dir == "" {
		t.Skip("THAWLINE_SCREENS names no folder: the pictures stay as they are")
	}
	w := servePages(t, false).browser(chromium(t))
	for _, one := range []struct {
		name, path    string
		width, height int64
		dark          bool
	}{{"tonight", "/site/kettle", 380, 860, false}, {"round", "/site/kettle/rounds", 380, 860, true},
		{"flow", "/site/kettle/flow", 1000, 960, false},
		{"round.fr", "/site/kettle/rounds?lang=fr&units=metric", 380, 860, true},
		{"flow.fr", "/site/kettle/flow?lang=fr&units=metric", 1000, 960, false}} {
		w.do(chromedp.EmulateViewport(one.width, one.height))
		w.dark(one.dark)
		w.open(one.path)
		picture, err := chromedp.Run(w.ctx, chromedp.CaptureScreenshot())
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, one.name+".png"), picture, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}
