package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/http"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/go-chi/chi/v5/middleware"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/demo"
	"thawline/config"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// bushPages are the demonstration's pages on a socket that can be taken away and
// given back, as signal is in the bush.
type bushPages struct {
	t       *testing.T
	h       *app.App
	address string
	mu      sync.Mutex
	server  *http.Server
	asked   []string // the last requests and answers, for a test that fails
}

func servePages(t *testing.T, login bool) *bushPages {
	t.Helper()
	return serveDemo(t, login, demo.Days, func(*config.Config) {})
}

// serveDemo serves the demonstration after so many days, its settings changed.
func serveDemo(t *testing.T, login bool, days int, change func(*config.Config)) *bushPages {
	t.Helper()
	settings, err := demo.Settings()
	if err != nil {
		t.Fatal(err)
	}
	change(settings)
	b := &bushPages{t: t, address: beside.FreePort(t)}
	settings.Serve.Listen, settings.Serve.AlwaysLogin = b.address, login
	h, err := demo.New(t.Context(), app.Env{Version: "test", Log: slog.New(slog.DiscardHandler)}, settings, t.TempDir(), days)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.Archive.Close() })
	b.h = h
	b.signal()
	t.Cleanup(b.noSignal)
	return b
}

func (b *bushPages) signal() {
	b.t.Helper()
	l, err := net.Listen("tcp", b.address)
	if err != nil {
		b.t.Fatal(err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.server = &http.Server{Handler: b.noting(b.h.Handler()), ReadHeaderTimeout: 5 * time.Second}
	go func(s *http.Server) { _ = s.Serve(l) }(b.server)
}

// noting keeps what is asked and answered.
func (b *bushPages) noting(next http.Handler) http.Handler {
	const last = 60
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		saw := middleware.NewWrapResponseWriter(w, r.ProtoMajor)
		next.ServeHTTP(saw, r)
		line := fmt.Sprintf("%s %s %s: %d after %s", began.Format("05.000"), r.Method, r.URL.Path, saw.Status(),
			time.Since(began).Round(time.Millisecond))
		if _, err := r.Cookie("thawline"); err == nil {
			line += ", with a session"
		}
		for _, c := range w.Header().Values("Set-Cookie") {
			line += ", sets " + c[:min(20, len(c))]
		}
		b.mu.Lock()
		defer b.mu.Unlock()
		b.asked = append(b.asked, line)
		b.asked = b.asked[max(0, len(b.asked)-last):]
	})
}

func (b *bushPages) lately() string {
	if b == nil {
		return "of another server"
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Join(b.asked, "\n")
}

func (b *bushPages) noSignal() {
	b.mu.Lock()
	defer b.mu.Unlock()
	_ = b.server.Close()
}

// browser is a tab of Chromium.
type browser struct {
	t     *testing.T
	ctx   context.Context
	base  string
	pages *bushPages
}

// chromium starts one, or says that the test is left out.
func chromium(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("pages are looked at in a browser without -short")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no Chromium here: the pages are not looked at in a browser")
	}
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(path), chromedp.NoSandbox,
		chromedp.DisableGPU)
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(ctx)
	t.Cleanup(end)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	return ctx
}

func (b *bushPages) browser(ctx context.Context) *browser {
	w := &browser{b.t, ctx, "http://" + b.address, b}
	w.do(chromedp.EmulateViewport(360, 740))
	return w
}

const patience = 20 * time.Second

func (w *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.ctx, patience)
	defer cancel()
	err := chromedp.Do(ctx, steps...)
	for tries := 0; err != nil && (strings.Contains(err.Error(), "Could not find node") ||
		strings.Contains(err.Error(), "ERR_ABORTED")) && tries < 5; tries++ {
		err = chromedp.Do(ctx, steps...) // the page was still coming, or one before it
	}
	if err != nil {
		w.t.Fatalf("%v\n%s", err, w.text("body"))
	}
}

func (w *browser) open(path string) { w.t.Helper(); w.do(chromedp.Navigate(w.base + path)) }

// standsStill waits until what is to be pressed is in the middle of the window and no longer
// moves: a page that is still being laid out takes it from under the mouse. It looks from
// outside, since a page without script has no clock.
func (w *browser) standsStill(selector string) {
	w.t.Helper()
	where := fmt.Sprintf(`((it) => { if (!it) return "gone"; it.scrollIntoView({block: "center"});
		const {x, y} = it.getBoundingClientRect(); return x + " " + y; })(document.querySelector(%q))`, selector)
	for last, end := "", time.Now().Add(patience); time.Now().Before(end); {
		now := w.js(where)
		if now == last {
			return
		}
		last = now
		w.do(chromedp.Sleep(50 * time.Millisecond))
	}
}

// click follows what a form or link leads to; clear of the menu at the foot of a phone.
func (w *browser) click(selector string) {
	w.t.Helper()
	w.do(chromedp.WaitVisible(chromedp.CSS(selector)))
	w.standsStill(selector)
	w.do(chromedp.Click(chromedp.CSS(selector)))
}

func (w *browser) fill(selector, text string) {
	w.t.Helper()
	w.do(chromedp.SendKeys(chromedp.CSS(selector), text))
}

func (w *browser) js(expression string) string {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.ctx, patience)
	defer cancel()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[string](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		w.t.Fatalf("%s: %v", expression, err)
	}
	return out
}

func (w *browser) text(selector string) string {
	ctx, cancel := context.WithTimeout(w.ctx, patience)
	defer cancel()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[string](fmt.Sprintf(`(document.querySelector(%q)||{}).innerText||""`, selector)))
	if err != nil {
		return err.Error()
	}
	return out
}

// until waits for what a page comes to show.
func (w *browser) until(what, expression string) {
	w.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); {
		ctx, cancel := context.WithTimeout(w.ctx, patience)
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression))
		cancel()
		if err == nil && ok {
			return
		}
		w.do(chromedp.Sleep(50 * time.Millisecond))
	}
	w.t.Fatalf("%s: not within %s; the page shows\n%s\nThe last requests:\n%s", what, patience, w.text("body"), w.pages.lately())
}

// Set-up, logging out and in, an invitation, and what each role is shown.
func TestBrowserComesIn(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, true)
	w := b.browser(ctx)
	code, err := b.h.Auth.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// Other pages name a person too, so the address is looked at as well.
	const loginPage = `location.pathname=="/login" && !!document.querySelector("input[name=person]")`
	w.open("/site/kettle/rounds")
	w.until("the set-up page", `!!document.querySelector("input[name=code]")`)
	w.fill("input[name=code]", "wrong")
	w.fill("input[name=password]", "three plain words")
	w.click("main button")
	w.until("a refusal", `!!document.querySelector(".wrong")`)
	w.fill("input[name=code]", code)
	w.fill("input[name=password]", "three plain words")
	w.click("main button")
	w.until("the outlook", `!!document.querySelector(".panel")`)
	w.open("/people")
	w.click(`form:has(input[value=odell]) button[value=invite]`)
	w.until("the invitation", `!!document.querySelector(".fresh code")`)
	invitation := w.text(".fresh code")
	w.click("form.logout button")
	w.until("the login page", loginPage)
	w.fill("input[name=person]", "Wren")
	w.fill("input[name=password]", "three plain words")
	w.click("main button")
	w.until("the outlook again", `!!document.querySelector(".panel")`)
	w.click("form.logout button")
	w.until("the login page again", loginPage)

	if !strings.HasPrefix(invitation, w.base+"/l/") {
		t.Errorf("the invitation is no address: %q", invitation)
	}
	w.open(strings.TrimPrefix(invitation, w.base))
	w.click("main button")
	w.until("a new password", `location.pathname=="/password"`)
	w.fill("input[name=password]", "odell gathers sap")
	w.click("main button")
	w.until("the outlook for Odell", `!!document.querySelector(".panel")`)
	w.open("/people")
	if said := w.text("body"); strings.Contains(said, "Invite") {
		t.Errorf("the crew lets others in: %s", said)
	}
	w.open("/status")
	if said := w.text("body"); strings.Contains(said, "Margot") {
		t.Errorf("the crew sees everybody's messages: %s", said)
	}
	// A message of his own is acknowledged with one touch.
	w.open("/site/kettle/messages")
	w.click("form.message button")
	w.until("thanks", `document.body.innerText.includes("Noted that you have seen it.")`)
	recent, err := b.h.Daemon.Ledger.Recent(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for i := range recent {
		if !recent[i].AckedAt.IsZero() && recent[i].Person == "odell" {
			seen++
		}
	}
	if seen != 1 {
		t.Errorf("%d messages acknowledged", seen)
	}
}

// kept are the pages that the phone keeps: the one that stands where nothing is kept, the way
// to the first bush, and all that the bush has.
func (w *browser) kept() []string {
	w.t.Helper()
	var pages []string
	if err := json.Unmarshal([]byte(w.js(`fetch("/pages.json").then(r => r.text())`)), &pages); err != nil || len(pages) < 16 {
		w.t.Fatalf("%v %q", err, pages)
	}
	return pages
}

// A page that was opened once works without signal, and so does every other page of the
// bush, though nobody has looked at it; where nothing is kept a page of our own stands.
func TestBrowserOpenedOnce(t *testing.T) {
	b := servePages(t, false)
	w := b.browser(chromium(t))
	w.open("/site/kettle")
	w.js(`navigator.serviceWorker.ready.then(() => "ready")`)
	pages := w.kept()
	b.noSignal()                     // the server is stopped
	for _, page := range pages[2:] { // after the page for none, and the way to the first bush
		w.open(page)
		w.until("the kept page "+page, `document.body.dataset.old=="1" && !document.getElementById("signal").hidden && !!document.querySelector("h1") && document.querySelector("h1").textContent!="No signal here"`)
	}
	w.open("/site/kettle/nothing")
	w.until("a page of our own", `document.querySelector("h1").textContent=="No signal here"`)
	w.shot("/offline", 360, false)
}

// Entries made without signal are kept on the phone, shown as such, and sent once
// when signal comes back; the page itself opens from the phone's memory.
func TestBrowserInTheBush(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	w := b.browser(ctx)
	w.open("/site/kettle/rounds")
	w.js(`navigator.serviceWorker.ready.then(() => "ready")`)
	w.open("/site/kettle/rounds") // through the worker, which keeps it
	w.until("the worker's hold", `!!navigator.serviceWorker.controller`)
	w.open("/site/kettle/rounds")
	count := func() int {
		visits, err := b.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-time.Hour), time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		return len(visits)
	}

	b.noSignal()
	w.open("/site/kettle/rounds")
	w.until("the kept page, marked as old", `!document.getElementById("signal").hidden`)
	w.openGroup("ridge")
	w.fill("#g-ridge input[name=volume]", "31,5")
	w.fill("#g-ridge input[name=brix]", "2.2")
	w.openGroup("ridge")
	w.click("#g-ridge .press label:has([value=half])")
	w.click("#g-ridge .entry .save")
	w.until("an entry on the phone", `document.querySelector("#kept li")?.textContent.includes("31,5")`)
	w.openGroup("hollow")
	w.fill("#g-hollow input[name=volume]", "900")
	w.click("#g-hollow .entry .save")
	w.until("two entries on the phone", `document.querySelectorAll("#kept li").length==2`)
	w.open("/site/kettle/rounds") // closed and opened again
	w.until("entries outlive the page", `document.querySelectorAll("#kept li").length==2`)
	if n := count(); n != 0 {
		t.Errorf("%d visits before there is signal", n)
	}

	b.signal()
	w.click("#kept > button")
	w.until("one sent, one refused with a reason",
		`document.querySelectorAll("#kept li").length==1 && document.querySelector("#kept").innerText.includes("more than they can hold")`)
	w.click("#kept > button")
	w.until("nothing changes", `document.querySelectorAll("#kept li").length==1`)
	visits, err := b.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-time.Hour), time.UTC)
	if err != nil || len(visits) != 1 {
		t.Fatalf("%v %+v", err, visits)
	}
	v := visits[0]
	if v.Group != "ridge" || v.VolumeL < 119 || v.VolumeL > 119.5 || v.BrixPct != 2.2 || v.Note != "ice: half" || v.RecordedBy != "page" {
		t.Errorf("%+v", v)
	}
	w.until("what may have happened", `[...document.querySelectorAll("#kept li button")].map(b=>b.textContent).join("|").includes("It was full and ran over|900 gallons is right, it holds more|Change the number|")`)
	w.shot("/site/kettle/rounds-doubt", 360, false)
	w.click("#kept li button:nth-last-of-type(2)")
	w.until("it can be corrected", `document.getElementById("kept").hidden && document.querySelector("#g-hollow input[name=volume]").value=="900"`)
	w.js(`document.querySelector("#g-hollow input[name=volume]").value="","cleared"`)
	w.fill("#g-hollow input[name=volume]", "12")
	w.click("#g-hollow .entry .save")
	w.until("it is saved, with its unit", `document.querySelector("#g-hollow .sent")?.textContent.includes("12 gallons")`)
}

// Taps pulled where there is no signal are known when there is, as of when the button was
// pressed; then nothing more is asked of the group.
func TestBrowserPullsWithoutSignal(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	defer b.h.Remake(t.Context(), nil)()
	w := b.browser(ctx)
	w.open("/site/kettle/rounds")
	w.js(`navigator.serviceWorker.ready.then(() => "ready")`)
	w.open("/site/kettle/rounds") // through the worker, which keeps it
	w.until("the worker's hold", `!!navigator.serviceWorker.controller`)
	w.open("/site/kettle/rounds")
	b.noSignal()
	w.open("/site/kettle/rounds")
	w.openGroup("hollow")
	w.click("#g-hollow .entry button[name=pulled]")
	w.until("a pull on the phone", `document.querySelector("#kept li")?.textContent.includes("Taps pulled")`)
	events := func() []archive.StoredTap {
		events, err := b.h.Archive.TapEvents(t.Context(), "kettle", time.Time{}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		return events
	}
	if list := events(); len(list) > 0 {
		t.Errorf("%+v before there is signal", list)
	}
	b.signal()
	w.js(`document.querySelector("#kept > button")?.click(); "pressed, unless it went by itself"`)
	w.until("it is sent", `document.getElementById("kept").hidden && document.querySelector("#g-hollow form.entry").hidden && document.querySelector("#g-hollow .sent").textContent.includes("have been out since")`)
	if list := events(); len(list) != 1 || list[0].Group != "hollow" {
		t.Errorf("%+v", list)
	}
	w.do(chromedp.EmulateViewport(360, 860))
	w.open("/site/kettle/rounds")
	w.shot("/site/kettle/rounds-pulled", 360, false)
	if n := w.js(`String(document.querySelector("main").innerText.split("Hollow").length - 1)`); n != "1" {
		t.Errorf("the hollow is named %s times beside its buttons", n)
	}
	w.click(".pulled button[value=undo]")
	w.do(chromedp.WaitVisible(chromedp.CSS("#g-hollow")))
	if list := events(); len(list) > 0 {
		t.Errorf("undone: %+v", list)
	}
}

// openGroup opens a group of the round, and what is asked less often in it.
func (w *browser) openGroup(id string) {
	w.t.Helper()
	w.js(`(()=>{const g=document.getElementById("g-` + id +
		`");g.open=true;for(const d of g.querySelectorAll("details"))d.open=true;return "open"})()`)
}

// One thumb writes a round down: nothing is filled in, Save waits until something was
// pressed, plus begins at what is expected, and to confirm it is a button of its own, kept
// as that and taught by nothing.
func TestBrowserOneThumb(t *testing.T) {
	b := servePages(t, false)
	w := b.browser(chromium(t))
	w.open("/site/kettle/rounds")
	if is := w.js(`(()=>{const f=document.querySelector("#g-ridge form.entry");return f.elements.volume.value+"|"+f.querySelector(".save").disabled+"|"+f.dataset.expected})()`); is != "|true|70" {
		t.Fatalf("an entry begins as %q", is)
	}
	w.click("#g-ridge .presses button[data-by='1']")
	w.until("the expected figure", `document.querySelector("#g-ridge input[name=volume]").value=="70" && document.querySelector("#g-ridge .save").textContent=="Save 70 gallons" && !document.querySelector("#g-ridge .save").disabled`)
	w.shot("/site/kettle/rounds-entry", 360, false)
	w.click("#g-ridge .presses button[data-by='-1']")
	w.until("one less", `document.querySelector("#g-ridge input[name=volume]").value=="69"`)
	w.open("/site/kettle/rounds")
	w.click("#g-ridge .expected")
	w.until("it is kept, with its unit", `document.querySelector("#g-ridge .sent")?.textContent.includes("70 gallons")`)
	w.shot("/site/kettle/rounds-saved", 360, false)
	visits, err := b.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-time.Hour), time.UTC)
	if err != nil || len(visits) != 1 || !visits[0].Remarks().AsExpected || visits[0].VolumeL < 250 {
		t.Fatalf("%v %+v", err, visits)
	}
	w.click("#g-ridge .sent > button")
	w.until("the next group", `document.querySelector("details.group[open]") && !document.getElementById("g-ridge").open`)
	// What somebody else writes down meanwhile is seen.
	other := records.Visit{Site: "kettle", Group: "lane", Taps: 140, CollectedAt: testdata.Now(), VolumeL: 400, BrixPct: math.NaN()}
	if _, err := b.h.Archive.PutVisits(t.Context(), []records.Visit{other}, "Odell", testdata.Now()); err != nil {
		t.Fatal(err)
	}
	w.until("the other's round", `document.querySelector("#g-lane .last span").textContent.includes("106 gallons")`)
}

// Without script the same form does the same.
func TestBrowserWithoutScript(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	w := b.browser(ctx)
	if _, err := chromedp.Call(w.ctx, emulation.SetScriptExecutionDisabled,
		emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		t.Fatal(err)
	}
	w.open("/site/kettle/rounds")
	w.click("#g-lane > summary")
	w.fill("#g-lane input[name=volume]", "700")
	w.click("#g-lane .entry .save")
	w.do(chromedp.WaitVisible(chromedp.CSS(".doubt")))
	w.fill("#g-lane input[name=volume]", "") // it is there to be corrected
	w.click(".whys button[value=loads]")
	w.do(chromedp.WaitVisible(chromedp.CSS(".notice")))
	if said := w.text(".notice"); !strings.Contains(said, "700 gallons") {
		t.Errorf("what was saved is told as %q", said)
	}
	visits, err := b.h.Archive.Visits(t.Context(), "kettle", testdata.Now().Add(-time.Hour), time.UTC)
	if err != nil || len(visits) != 1 || visits[0].Group != "lane" || visits[0].Note != records.NoteLoads || visits[0].VolumeL < 2600 {
		t.Fatalf("%v %+v", err, visits)
	}
}
