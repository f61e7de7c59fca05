package web_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// The official warning stands on every page that sends people out, in its issuer's words
// and with a link; so do the usual cautions, and that nobody knows where nobody does.
func TestPagesQuoteOfficialWarnings(t *testing.T) {
	p := demoPages(t, nil)
	o := p.h.Daemon.Outlook(t.Context(), "kettle")
	from := testdata.Now().Add(20 * time.Hour).In(o.IssuedAt.Location())
	storm := weather.Warning{ID: "1", Source: "nws", Issuer: weather.Quoted{"en": "NWS"},
		Event: weather.Quoted{"en": "Ice Storm Warning"}, Headline: weather.Quoted{"en": "Ice <b>& limbs"},
		Severity: weather.Severe, From: from, To: from.Add(12 * time.Hour),
		URL: weather.Quoted{"en": "https://forecast.weather.gov/MapClick.php?lat=44.62&lon=-72.31"}}
	o.Warnings = forecast.Official{State: weather.WarningsUnknown, List: []weather.Warning{storm}}
	for path, cautions := range map[string][]string{"/rounds": {"Do not work alone", "limbs fall", "Full pails are heavy",
		"ice under the snow"}, "/wall": {"Do not work alone", "limbs fall", "Full pails are heavy", "ice under the snow"}, "": nil} {
		s := p.must(200, "GET", "/site/kettle"+path, nil)
		for _, words := range append(cautions, "Ice Storm Warning by NWS", "Ice &lt;b&gt;&amp; limbs",
			`href="https://forecast.weather.gov/MapClick.php?lat=44.62&amp;lon=-72.31"`, "Official warnings could not be reached so far") {
			if !strings.Contains(s, words) {
				t.Errorf("%q: %q is not on the page", path, words)
			}
		}
	}
	// Each caution stands once, where it is needed, and nowhere else.
	for _, c := range []struct{ words, on string }{{"never leave a pan", "/boil"}, {"Do not work alone", "/rounds /wall"},
		{"limbs fall", "/rounds /wall"}, {"Full pails are heavy", "/rounds /wall"}, {"ice under the snow", "/rounds /wall"}} {
		for _, path := range []string{"", "/rounds", "/boil", "/wall", "/season", "/skill", "/more"} {
			want := 0
			if slices.Contains(strings.Fields(c.on), path) {
				want = 1
			}
			if got := strings.Count(p.must(200, "GET", "/site/kettle"+path, nil), c.words); got != want {
				t.Errorf("%q says %q %d times, want %d", path, c.words, got, want)
			}
		}
	}
}
