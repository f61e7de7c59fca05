package web_test

import (
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/testdata"
)

var panVerdict = regexp.MustCompile(`<p class="verdict">([^<]*)</p>`)

func panFloat(at time.Time, brix string) string { return fmt.Sprintf("%d__%s_", at.Unix(), brix) }

// Without script a reading goes into the address, once, and minutes come back. What can't
// be a reading is refused with its reason, and nothing that was read before is lost.
func TestPanWithoutScript(t *testing.T) {
	p := demoPages(t, nil)
	const path = "/site/kettle/pan"
	first := p.must(http.StatusOK, "GET", path, nil)
	for _, want := range []string{"Read the thermometer when the pan boils", "Never leave a pan that boils", "When it calls, test",
		"simulated", "this thermometer shows 21"} {
		if !strings.Contains(first, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if !strings.Contains(p.must(http.StatusOK, "GET", "/site/kettle/boil", nil), `href="/site/kettle/pan"`) {
		t.Error("the page of the fire does not lead to the pan")
	}
	verdict := func(page string) string {
		if found := panVerdict.FindStringSubmatch(page); found != nil {
			return found[1]
		}
		return ""
	}
	q := url.Values{"r": {panFloat(testdata.Now().Add(-9*time.Minute), "55.00")}, "float": {"60"}, "rate": {"1"}, "syrup": {"2"}}
	w := p.ask("GET", path+"?"+q.Encode(), nil)
	to := w.Header().Get("Location")
	if w.Code != http.StatusSeeOther || !strings.Contains(to, "rate=1") || strings.Contains(to, "float=") {
		t.Fatalf("a reading leads to %d %q, want an address that can be loaded again", w.Code, to)
	}
	for range 2 {
		page := p.must(http.StatusOK, "GET", to, nil)
		if got := verdict(page); !strings.HasPrefix(got, "Draw off in") {
			t.Errorf("two floats of the hydrometer: %q", got)
		}
		if n := strings.Count(page, `name="r"`); n != 2 {
			t.Errorf("%d readings are kept, want 2", n)
		}
	}
	q.Set("float", "99")
	wrong := p.must(http.StatusOK, "GET", path+"?"+q.Encode(), nil)
	if !strings.Contains(wrong, "99.0\u00a0°Brix is not between 5 and 80") || strings.Count(wrong, `name="r"`) != 1 {
		t.Error("an impossible float is not refused with its reason, or what was read before is lost")
	}
	q.Set("float", "66.5")
	to = p.ask("GET", path+"?"+q.Encode(), nil).Header().Get("Location")
	if got := verdict(p.must(http.StatusOK, "GET", to, nil)); got != "Test now: it may be ready." {
		t.Errorf("syrup in the pan: %q", got)
	}
	old := url.Values{"r": {panFloat(testdata.Now().Add(-11*time.Minute), "35.00")}}
	if page := p.must(http.StatusOK, "GET", path+"?"+old.Encode(), nil); !strings.Contains(verdict(page), "Read again") ||
		!strings.Contains(page, `class="call faint"`) {
		t.Errorf("eleven minutes after the last reading: %q", verdict(page))
	}
	for _, junk := range []string{"r=x", "r=1_2_3", "r=_9e99__", "temp=hot", "rate=-1&syrup=0", "water=20", "r=99999999999_101__"} {
		p.must(http.StatusOK, "GET", path+"?"+junk, nil)
	}
}

var digits = regexp.MustCompile(`[0-9]+`)

// alikeWithinAMinute: the other side's clock runs on while the page is asked for.
func alikeWithinAMinute(a, b string) bool {
	if digits.ReplaceAllString(strings.TrimSpace(a), "#") != digits.ReplaceAllString(strings.TrimSpace(b), "#") {
		return false
	}
	one, other := digits.FindAllString(a, -1), digits.FindAllString(b, -1)
	for i := range one {
		x, _ := strconv.Atoi(one[i])
		y, _ := strconv.Atoi(other[i])
		if x-y > 1 || y-x > 1 {
			return false
		}
	}
	return true
}

// get is a page without script.
func (b *bushPages) get(path string) string {
	b.t.Helper()
	answer, err := http.Get("http://" + b.address + path)
	if err != nil {
		b.t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return string(body)
}

// Without signal the script does the same sums as the other side, in the same words.
func TestBrowserAtThePan(t *testing.T) {
	ctx := chromium(t)
	b := servePages(t, false)
	w := b.browser(ctx)
	now := testdata.Now()
	w.open("/site/kettle/pan")
	clock := fmt.Sprintf("Date.now = () => %d; ", now.UnixMilli())
	for _, floats := range [][2]string{{"40.00", "43.00"}, {"50.00", "54.00"}, {"55.00", "60.00"}, {"60.00", "65.50"}} {
		address := "/site/kettle/pan?" +
			url.Values{"r": {panFloat(now.Add(-600*time.Second), floats[0]), panFloat(now.Add(-5*time.Second), floats[1])}}.Encode()
		there := panVerdict.FindStringSubmatch(b.get(address))
		w.js(clock + fmt.Sprintf("history.replaceState(null, '', %q); 'moved'", address))
		w.until("the script's sums", `document.querySelectorAll("ol.readings li").length === 2`)
		w.js(clock + `new Promise((done) => setTimeout(() => done("shown"), 5200))`)
		if here := w.text("#pan .verdict"); there == nil || !alikeWithinAMinute(here, there[1]) {
			t.Errorf("from %v the phone says %q, the other side %q", floats, here, there)
		}
	}
	// A reading without signal: it counts, the form is empty again, and the call is loud.
	w.js("history.replaceState(null, '', '/site/kettle/pan'); 'moved'")
	b.noSignal()
	w.fill("input[name=float]", "66.5")
	w.click("form.reading>button")
	w.until("the call", `document.querySelector("#pan .call.loud") !== null && document.querySelector("input[name=float]").value === ""`)
	w.shot("pan", 360, false)
}
