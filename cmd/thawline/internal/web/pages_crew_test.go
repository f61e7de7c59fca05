package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/config"
	"thawline/forecast/records"
	"thawline/testdata"
)

// roundForms are the forms of a page of rounds that say who goes, without script.
func roundForms(page string) []url.Values {
	var out []url.Values
	for _, form := range regexp.MustCompile(`(?s)<form[^>]*/attendance"[^>]*class="(?:thumbs|away)".*?</form>`).FindAllString(page, -1) {
		values := url.Values{}
		for _, field := range regexp.MustCompile(`<input type="hidden" name="(\w+)" value="([^"]*)">`).FindAllStringSubmatch(form, -1) {
			values.Add(field[1], strings.ReplaceAll(field[2], "&#43;", "+"))
		}
		for _, b := range regexp.MustCompile(`name="do" value="(\w+)"`).FindAllStringSubmatch(form, -1) {
			values.Add("buttons", b[1])
		}
		out = append(out, values)
	}
	return out
}

func with(form url.Values, pairs ...string) url.Values {
	out := url.Values{}
	for k, v := range form {
		out[k] = v
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		out.Set(pairs[i], pairs[i+1])
	}
	return out
}

// Helpers see who gathers, their own rounds first, and say of themselves alone whether they
// go; viewers see it and say nothing; whoever has a link and no hours may go instead.
func TestWhoGathersByRole(t *testing.T) {
	p := demoPages(t, func(c *config.Config) { c.Serve.AlwaysLogin = true; twoHelpers(c) })
	defer p.h.Remake(t.Context(), nil)()
	cookies := map[string]string{}
	for name, role := range map[string]auth.Role{"Odell": auth.Crew, "Bo": auth.Crew, "Vi": auth.Viewer} {
		token, err := p.h.Auth.MakeLink(t.Context(), auth.Link{Kind: auth.CrewLink, Name: name, Role: role, Days: 1}, "test")
		if err != nil {
			t.Fatal(err)
		}
		cookies[name], _, _ = strings.Cut(p.ask("POST", "/l/"+token, url.Values{}).Header().Get("Set-Cookie"), ";")
	}
	page := func(name string) string {
		t.Helper()
		return p.must(200, "GET", "/site/kettle/rounds?lang=en", nil, "Cookie", cookies[name])
	}
	say := func(want int, name string, form url.Values) string {
		t.Helper()
		return p.must(want, "POST", "/site/kettle/attendance", form, "Cookie", cookies[name])
	}
	free := page("Vi")
	if len(roundForms(free)) != 0 || !strings.Contains(free, "Odell") || !strings.Contains(free, "Margot") ||
		strings.Contains(free, `class="board own"`) {
		t.Errorf("a viewer sees who gathers, and says nothing: %d forms", len(roundForms(free)))
	}
	odell := roundForms(page("Odell"))
	if len(odell) == 0 || odell[0].Get("person") != "odell" || strings.Join(odell[0]["buttons"], " ") != "going away day" {
		t.Fatalf("%v", odell)
	}
	for _, f := range odell {
		if f.Get("person") != "odell" {
			t.Errorf("he may speak for %s", f.Get("person"))
		}
	}
	mine := odell[0]
	say(403, "Vi", with(mine, "do", "going"))
	say(403, "Bo", with(mine, "do", "away")) // of Odell
	say(422, "Odell", with(mine, "do", "perhaps"))
	say(422, "Odell", with(mine, "do", "going", "from", "soon"))
	say(422, "Odell", with(mine, "do", "going", "groups", "none"))
	say(422, "Odell", with(mine, "do", "going", "key", ""))
	if now := page("Vi"); strings.Contains(now, "said going") {
		t.Error("somebody goes by what was refused")
	}
	say(http.StatusSeeOther, "Odell", with(mine, "do", "going"))
	say(http.StatusSeeOther, "Odell", with(mine, "do", "going")) // twice is once
	if now := page("Odell"); strings.Count(now, "said going") != 1 {
		t.Errorf("%d rounds are said to be made", strings.Count(now, "said going"))
	}
	undo := roundForms(page("Odell"))[0]
	if undo.Get("id") == "" {
		t.Fatalf("%v", undo)
	}
	say(403, "Bo", with(undo, "do", "undo"))
	say(http.StatusSeeOther, "Odell", with(undo, "do", "undo"))
	say(422, "Odell", with(undo, "do", "undo"))
	if now := page("Vi"); strings.Contains(now, "said going") {
		t.Error("it was taken back")
	}
	bo := roundForms(page("Bo"))
	if len(bo) == 0 || bo[0].Get("person") != "Bo" || len(bo[0]["with"]) != 0 {
		t.Fatalf("%v", bo)
	}
	say(http.StatusSeeOther, "Bo", with(bo[0], "do", "going"))
	if now := page("Vi"); strings.Count(now, "said going") != 1 || !strings.Contains(now, "<b>Bo</b>") {
		t.Error("Bo does not go instead")
	}
	wall := p.must(200, "GET", "/site/kettle/wall?lang=en", nil, "Cookie", cookies["Vi"])
	if !strings.Contains(wall, "Bo ✓") || !strings.Contains(wall, "Who gathers") {
		t.Error("the wall sheet does not say that Bo goes")
	}
}

// A keeper says of everybody; taps that are pulled put off what somebody said, and the page
// says so.
func TestKeepersSayWhoGathers(t *testing.T) {
	p := demoPages(t, twoHelpers)
	defer p.h.Remake(t.Context(), nil)()
	page := func() string { t.Helper(); return p.must(200, "GET", "/site/kettle/rounds?lang=en", nil) }
	forms := roundForms(page())
	people := map[string]bool{}
	for _, f := range forms {
		people[f.Get("person")] = true
	}
	if !people["odell"] || !people["margot"] || people[""] {
		t.Fatalf("%v", people)
	}
	p.must(303, "POST", "/site/kettle/attendance", with(forms[0], "do", "going"))
	group := forms[0].Get("groups")
	pulled := records.TapEvent{Site: "kettle", Group: group, Kind: records.Pulled, On: testdata.Now().Add(-time.Minute)}
	if _, err := p.h.Archive.PutTaps(t.Context(), []records.TapEvent{pulled}, "Wren", testdata.Now()); err != nil {
		t.Fatal(err)
	}
	if s := page(); !strings.Contains(s, "That is off: the taps are pulled.") {
		t.Error("nobody is told that the round is off")
	}
	p.must(303, "POST", "/site/kettle/attendance", with(forms[0], "do", "day", "key", "another-key"))
	if s := page(); !strings.Contains(s, "can&#39;t on") || strings.Contains(s, "That is off") {
		t.Errorf("a day off is not listed, or what it replaced still counts")
	}
	for _, lang := range []string{"en", "fr"} {
		s := p.must(200, "GET", "/site/kettle/rounds?lang="+lang, nil)
		if key := regexp.MustCompile(`>(?:[a-z]+_)+[a-z]+<`).FindString(s); key != "" || strings.Contains(s, "<no value>") {
			t.Errorf("%s: %s", lang, key)
		}
	}
}

// Where nobody has said when they are free, whoever reads makes the round, and a keeper says
// that nobody can.
func TestWhoeverCanGathers(t *testing.T) {
	p := demoPages(t, nil)
	defer p.h.Remake(t.Context(), nil)()
	page := func() string { t.Helper(); return p.must(200, "GET", "/site/kettle/rounds?lang=en", nil) }
	forms := roundForms(page())
	if len(forms) == 0 || forms[0].Get("person") != "" || strings.Join(forms[0]["buttons"], " ") != "going nobody" {
		t.Fatalf("%v", forms)
	}
	start := forms[0].Get("from")
	p.must(303, "POST", "/site/kettle/attendance", with(forms[0], "do", "going"))
	if s := page(); strings.Count(s, "said going") != 1 {
		t.Error("nobody goes")
	}
	p.must(303, "POST", "/site/kettle/attendance", with(forms[0], "do", "nobody", "key", "another-key"))
	s := page()
	if !strings.Contains(s, "Nobody can ") || strings.Contains(s, "said going") {
		t.Error("that nobody can is not said")
	}
	for _, f := range roundForms(s) {
		if f.Get("from") == start {
			t.Error("somebody goes all the same")
		}
	}
	// Nobody can for days: what hangs is left, and what may come of it is said.
	until := testdata.Now().AddDate(0, 0, 9).Format(time.RFC3339)
	p.must(303, "POST", "/site/kettle/attendance",
		with(forms[0], "do", "nobody", "key", "third-key", "from", testdata.Now().Format(time.RFC3339), "to", until))
	if s := page(); strings.Contains(s, `class="round`) || !strings.Contains(s, "hanging, no round planned.") ||
		!strings.Contains(s, "chance that it runs over within three days.") {
		t.Error("what is left is not said")
	}
}
