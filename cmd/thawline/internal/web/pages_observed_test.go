package web_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
)

// Whether it drips is one thumb away on the rounds; the thermometer's lows and highs stand
// with the records, in the reader's unit, and can be taken back.
func TestWhatIsSeenOnThePages(t *testing.T) {
	p := demoPages(t, nil)
	rounds := p.must(200, "GET", "/site/kettle/rounds", nil)
	if !strings.Contains(rounds, `value="dripping"`) || !strings.Contains(rounds, `value="not_dripping"`) {
		t.Fatal("no buttons for dripping")
	}
	if n := strings.Count(rounds, `name="do" value="half_full"`); n == 0 || n != strings.Count(rounds, `name="do" value="brim_full"`) ||
		strings.Contains(rounds, `value="buds"`) {
		t.Errorf("%d groups can be called half full on a look", n)
	}
	p.must(303, "POST", "/site/kettle/observations", url.Values{"do": {"half_full"}, "key": {"seen-0010"}})
	if s := p.must(200, "GET", "/site/kettle/records", nil); !strings.Contains(s, "half full, ") {
		t.Error("a look is not listed")
	} else if id := regexp.MustCompile(`name="take_back" value="([^"]+)"`).FindStringSubmatch(s); id != nil {
		p.must(303, "POST", "/site/kettle/observations", url.Values{"take_back": {id[1]}, "from": {"records"}})
	}
	p.must(303, "POST", "/site/kettle/observations", url.Values{"do": {"not_dripping"}, "key": {"seen-0001"}})
	p.must(303, "POST", "/site/kettle/observations",
		url.Values{"do": {"read"}, "key": {"seen-0002"}, "units": {"us"}, "low": {"23,5"}, "sure": {"1"}})
	page := func() string {
		return strings.ReplaceAll(p.must(200, "GET", "/site/kettle/records", nil), "\u00a0", " ")
	}
	s := page()
	for _, want := range []string{"not dripping, ", "low of 23.5 F, the night to ", "Low of the night, °F", "/observations.csv"} {
		if !strings.Contains(s, want) {
			t.Errorf("no %q", want)
		}
	}
	ids := regexp.MustCompile(`name="take_back" value="([^"]+)"`).FindAllStringSubmatch(s, -1)
	if len(ids) != 2 {
		t.Fatalf("%d can be taken back", len(ids))
	}
	p.must(303, "POST", "/site/kettle/observations", url.Values{"take_back": {ids[0][1]}, "from": {"records"}})
	if s := page(); strings.Contains(s, "low of 23.5 F") == strings.Contains(s, "not dripping, ") {
		t.Error("not one of them is taken back")
	}
	for _, bad := range []url.Values{{"do": {"read"}, "key": {"seen-0003"}}, {"do": {"read"}, "key": {"seen-0004"}, "low": {"cold"}},
		{"do": {"read"}, "key": {"seen-0005"}, "low": {"200"}}, {"do": {"dripping"}},
		{"do": {"dripping"}, "key": {"seen-0006"}, "group": {"nowhere"}}} {
		p.must(422, "POST", "/site/kettle/observations", bad)
	}
	p.must(404, "POST", "/site/kettle/observations", url.Values{"take_back": {"nothing"}})
}
