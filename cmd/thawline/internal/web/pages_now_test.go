package web_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/testdata"
)

// What was said of "tomorrow" stands until then and no longer: where no weather can be
// used any more the pages say so, and nothing old passes for new.
func TestOldOutlooksAreNotShown(t *testing.T) {
	p := demoPages(t, nil)
	at := testdata.Now()
	p.h.Pages.Now = func() time.Time { return at }
	for _, c := range []struct {
		after      time.Duration
		says, none string
	}{
		{0, "Sap will run tomorrow", "no usable weather"},
		{3 * time.Hour, "Sap will run tomorrow", "no usable weather"},
		{8 * time.Hour, "Made Fri 20 Mar", "no usable weather"}, // past midnight
		{50 * time.Hour, "no usable weather since Friday 20 Mar", "Sap will run"},
	} {
		at = testdata.Now().Add(c.after)
		for _, path := range []string{"", "/boil", "/wall", "/rounds"} {
			s := p.must(200, "GET", "/site/kettle"+path, nil)
			if path == "" && !strings.Contains(s, c.says) || strings.Contains(s, c.none) {
				t.Errorf("%s after %s: %q or not %q in %.2000s", path, c.after, c.none, c.says, s)
			}
		}
	}
	at = time.Date(2026, 3, 21, 4, 30, 0, 0, time.UTC) // Saturday, half past midnight
	if s := p.must(200, "GET", "/site/kettle", nil); strings.Contains(s, "Tomorrow 8 am") || !strings.Contains(s, "Today 8 am") {
		t.Error("a round of today is called tomorrow's")
	}
}

// What somebody writes down is on every page at once: nobody is sent to pails that were
// just gathered.
func TestPagesKnowWhatWasJustGathered(t *testing.T) {
	p := demoPages(t, nil)
	defer p.h.Remake(t.Context(), nil)()
	if s := p.must(200, "GET", "/site/kettle", nil); !strings.Contains(s, "Ridge pails 70") {
		t.Fatalf("%q", regexp.MustCompile(`Ridge pails[^<]*`).FindAllString(s, 5))
	}
	p.must(303, "POST", "/site/kettle/entries", url.Values{"key": {"gathered-1"}, "group": {"ridge"}, "volume": {"60"}})
	s := p.must(200, "GET", "/site/kettle", nil)
	if strings.Contains(s, "Ridge pails 70") || !strings.Contains(s, "Lane tubing") || strings.Contains(s, "not in this yet") {
		t.Errorf("%.5000s", s)
	}
	if s := p.must(200, "GET", "/site/kettle/rounds", nil); strings.Contains(s, "about 69 gallons expected") {
		t.Errorf("%.3000s", s)
	}
}
