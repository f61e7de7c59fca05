package web_test

import (
	"encoding/json"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"

	"thawline/cmd/thawline/internal/daemon"
)

// besideTheBush are the pages that are of no bush, with a login.
var besideTheBush = []string{"/status", "/people", "/password", "/offline", "/login", "/l/none", "/site/none"}

// deskPaths are the pages of an association's office.
var deskPaths = []string{"/desk", "/desk?zoom=3", "/desk/members", "/desk/members/person/keeper1", "/desk/members/bush/bush1",
	"/desk/members/person/new", "/desk/log"}

// barriers looks at pages in a browser.
type barriers struct {
	w          *browser
	axe        []byte // nil where there is none: barriers are not looked for
	mu         sync.Mutex
	complaints []string
}

func barriersOf(t *testing.T, w *browser) *barriers {
	t.Helper()
	axe, err := os.ReadFile(os.Getenv("THAWLINE_AXE"))
	if err != nil {
		t.Log("no axe-core here (THAWLINE_AXE names axe.min.js): barriers are not looked for")
	}
	b := &barriers{w: w, axe: axe}
	go func() {
		for m, err := range chromedp.Console(w.ctx) {
			if err != nil {
				return
			}
			if m.Type == "error" || m.Type == chromedp.ConsoleException {
				b.mu.Lock()
				b.complaints = append(b.complaints, m.Text)
				b.mu.Unlock()
			}
		}
	}()
	return b
}

// look opens a page on a phone by night in French and on a desk by day in English; where
// pictures are asked for, in both lights and languages on both.
func (b *barriers) look(path string) {
	t, w := b.w.t, b.w
	t.Helper()
	for _, phone := range []bool{true, false} {
		for _, dark := range []bool{true, false} {
			for _, lang := range []string{"fr", "en"} {
				usual := dark == phone && (lang == "fr") == phone
				if !usual && os.Getenv("THAWLINE_SHOTS") == "" {
					continue
				}
				width := int64(1280)
				if phone {
					width = 360
				}
				w.do(chromedp.EmulateViewport(width, 900))
				w.dark(dark)
				with := "?"
				if strings.Contains(path, "?") {
					with = "&"
				}
				w.open(path + with + "lang=" + lang)
				if wide := w.js(`String(document.documentElement.scrollWidth-document.documentElement.clientWidth)`); wide != "0" {
					t.Errorf("%s at %d is %s px too wide", path, width, wide)
				}
				if foreign := w.js(`performance.getEntriesByType("resource").map(e=>e.name).filter(n=>!n.startsWith(location.origin)).join()`); foreign != "" {
					t.Errorf("%s asks %s", path, foreign)
				}
				if phone {
					w.fitsHands(path)
				}
				w.shot(path+"-"+lang, width, dark)
				if b.axe == nil {
					continue
				}
				w.js(string(b.axe) + `;"loaded"`)
				found := w.js(`axe.run({resultTypes:["violations"]}).then(r=>JSON.stringify(r.violations.map(v=>({id:v.id,help:v.help,nodes:v.nodes.slice(0,3).map(n=>n.html.slice(0,200)+" | "+n.failureSummary)}))))`)
				var violations []map[string]any
				if err := json.Unmarshal([]byte(found), &violations); err != nil || len(violations) > 0 {
					t.Errorf("%s at %d, dark %t, %s: %v %s", path, width, dark, lang, err, found)
				}
			}
		}
	}
}

// quiet fails where the browser complained of more than of pages that are not there.
func (b *barriers) quiet() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, c := range b.complaints {
		if !strings.Contains(c, "404") {
			b.w.t.Errorf("the browser complains: %s", c)
		}
	}
}

// No page, by night or day, on phone or desk, in either language, has anything that
// axe-core finds wrong, speaks to another host, or trips over its own policy.
func TestBrowserFindsNoBarrier(t *testing.T) {
	p := servePages(t, true)
	w := p.browser(chromium(t))
	b := barriersOf(t, w)
	code, err := p.h.Auth.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	b.look("/setup")
	w.open("/setup")
	w.fill("input[name=code]", code)
	w.fill("input[name=password]", "three plain words")
	w.click("main button")
	w.until("the outlook", `!!document.querySelector(".panel")`)
	address, err := daemon.Address(t.Context(), p.h.Daemon.Ledger, "push", "margot")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range slices.Concat([]string{"/p/" + address, "/site/kettle/flow?season=2024"}, w.kept()[2:], besideTheBush) {
		b.look(path)
	}
	b.quiet()
}

// Nor has any page of an association's office.
func TestBrowserFindsNoBarrierAtTheDesk(t *testing.T) {
	p := deskPages(t, 3)
	server := httptest.NewServer(p.handler)
	defer server.Close()
	b := barriersOf(t, &browser{t, chromium(t), server.URL, nil})
	for _, path := range deskPaths {
		b.look(path)
	}
	b.quiet()
}
