package web_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"thawline/cmd/thawline/internal/auth"
	"thawline/config"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/testdata"
)

// twoHelpers gives Odell the afternoons and Margot the days.
func twoHelpers(c *config.Config) {
	for day := time.Sunday; day <= time.Saturday; day++ {
		c.People[1].Gathers = append(c.People[1].Gathers,
			forecast.Free{Who: "odell", Weekday: day, From: 14 * time.Hour, To: 18 * time.Hour})
		c.People[2].Gathers = append(c.People[2].Gathers,
			forecast.Free{Who: "margot", Weekday: day, From: 9 * time.Hour, To: 16 * time.Hour})
	}
}

// byLink lets somebody in by a crew's link.
func (b *bushPages) byLink(w *browser, name string) {
	b.t.Helper()
	token, err := b.h.Auth.MakeLink(b.t.Context(), auth.Link{Kind: auth.CrewLink, Name: name, Role: auth.Crew, Days: 2}, "Wren")
	if err != nil {
		b.t.Fatal(err)
	}
	w.open("/l/" + token)
	w.click("main button")
	w.until("the outlook", `!!document.querySelector(".panel")`)
}

// A helper by a link: their own rounds first, two buttons for a thumb, and what they say is
// planned at once; without signal it waits on the phone. Nothing runs over the edge of a phone.
func TestBrowserWhoGathers(t *testing.T) {
	ctx := chromium(t)
	b := serveDemo(t, true, 3, twoHelpers)
	defer b.h.Remake(t.Context(), nil)()
	pulled := records.TapEvent{Site: "kettle", Group: "hollow", Kind: records.Pulled, On: testdata.Now().Add(-time.Hour)}
	if _, err := b.h.Archive.PutTaps(t.Context(), []records.TapEvent{pulled}, "Wren", testdata.Now()); err != nil {
		t.Fatal(err)
	}
	w := b.browser(ctx)
	b.byLink(w, "Odell")
	for _, lang := range []string{"fr", "en"} {
		for _, width := range []int64{360, 1280} {
			for _, dark := range []bool{false, true} {
				w.do(chromedp.EmulateViewport(width, 740))
				w.dark(dark)
				w.open("/site/kettle/rounds?lang=" + lang)
				if over := w.js(`String(document.documentElement.scrollWidth-document.documentElement.clientWidth)`); over != "0" {
					t.Errorf("%s, %d px: %s px over the edge", lang, width, over)
				}
				if small := w.js(`[...document.querySelectorAll(".thumbs button,.away button")].filter(b=>b.getBoundingClientRect().height<48).map(b=>b.innerText).join()`); small != "" {
					t.Errorf("%s, %d px: too small for a thumb: %s", lang, width, small)
				}
				w.shot(fmt.Sprintf("crew-%s", lang), width, dark)
				w.shotOf("section.crew", fmt.Sprintf("crew-%s", lang), width, dark)
			}
		}
	}
	for _, width := range []int64{360, 816} {
		w.do(chromedp.EmulateViewport(width, 740))
		w.open("/site/kettle/wall")
		if over := w.js(`String(document.documentElement.scrollWidth-document.documentElement.clientWidth)`); over != "0" {
			t.Errorf("wall, %d px: %s px over the edge", width, over)
		}
		w.shot("wall", width, true)
	}
	pdf, err := chromedp.Run(w.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperLetter), chromedp.PDFPreferCSSPageSize()))
	if err != nil {
		t.Fatal(err)
	}
	w.do(chromedp.EmulateViewport(740, 980))
	w.print()
	w.shot("wall-print", 740, false)
	if n := bytes.Count(pdf, []byte("/Type /Page\n")); n != 1 {
		t.Errorf("the wall sheet has %d pages", n)
	}
	if dir := os.Getenv("THAWLINE_SHOTS"); dir != "" {
		_ = os.WriteFile(filepath.Join(dir, "wall.pdf"), pdf, 0o600)
	}
	w.do(chromedp.EmulateViewport(360, 740))
	w.dark(false)
	w.open("/site/kettle/rounds")
	if mine := w.text(".board.own .round .who"); !strings.HasPrefix(mine, "You") {
		t.Errorf("the reader's own round is not first: %q", mine)
	}
	w.click(".round.mine button[value=going]")
	w.until("that he goes", `document.querySelector(".board.own .said.going") && document.body.innerText.includes("Noted: you go.")`)
	w.shot("crew-going", 360, false)
	w.click(".round.mine button[value=away]")
	w.until("that he can't", `document.querySelector(".away") && !document.querySelector(".board.own .said.going")`)
	w.shot("crew-cannot", 360, false)
	b.noSignal()
	before := w.text(".away")
	w.click(".away button")
	w.until("that it waits", `!document.getElementById("kept").hidden`)
	b.signal()
	w.js(`document.querySelector("#kept > button").click(), ""`)
	w.until("that it was taken back", `!document.querySelector(".away") || document.querySelector(".away").innerText !== `+fmt.Sprintf(
		"%q", before))
}

// shotOf keeps a picture of a part of a page where THAWLINE_SHOTS names a folder.
func (w *browser) shotOf(selector, name string, width int64, dark bool) {
	dir := os.Getenv("THAWLINE_SHOTS")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(w.ctx, chromedp.Screenshot(chromedp.CSS(selector)))
	if err != nil {
		w.t.Fatal(err)
	}
	theme := map[bool]string{true: "dark", false: "light"}[dark]
	if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("part-%s-%d-%s.png", name, width, theme)), picture, 0o600); err != nil {
		w.t.Fatal(err)
	}
}

func (w *browser) print() {
	w.t.Helper()
	if _, err := chromedp.Call(w.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
		w.t.Fatal(err)
	}
}
