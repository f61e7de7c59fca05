package auth

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

var everyScope = []Scope{ReadOutlook, ReadRecords, WriteRecords, ReadMessages, Acknowledge, ReadMetrics, ReadMembers, WriteMembers}

// What each role and each token may do, and nothing beside it: a token has the one thing that
// it was made for, and what that needs.
func TestWhatNobodyMayDo(t *testing.T) {
	for role, may := range map[Role][]Scope{
		Nobody: nil, Viewer: {ReadOutlook, ReadRecords},
		Crew: {ReadOutlook, ReadRecords, WriteRecords, ReadMessages, Acknowledge}, Keeper: everyScope,
	} {
		for _, s := range everyScope {
			if got := (Identity{Role: role}).Can(s); got != slices.Contains(may, s) {
				t.Errorf("%q may %s: %t", role, s, got)
			}
		}
	}
	also := map[Scope]Scope{Acknowledge: ReadMessages, WriteMembers: ReadMembers}
	for _, has := range everyScope {
		for _, s := range everyScope {
			got := (Identity{Role: Keeper, Scopes: []Scope{has}}).Can(s)
			if want := s == has || also[has] == s; got != want {
				t.Errorf("a token for %s may %s: %t", has, s, got)
			}
		}
	}
	if (Identity{Role: Keeper, Scopes: []Scope{}}).Can(ReadOutlook) {
		t.Error("a token for nothing reads the outlook")
	}
	for name, c := range map[string]struct {
		v         Identity
		hill, all bool
	}{
		"nobody":           {Identity{}, false, false},
		"everywhere":       {Identity{Role: Viewer}, true, true},
		"a link":           {Identity{Role: Crew, Site: "hill"}, true, false},
		"another's link":   {Identity{Role: Crew, Site: "lake"}, false, false},
		"concerned":        {Identity{Role: Keeper, Sites: []string{"lake", "hill"}}, true, false},
		"of none":          {Identity{Role: Keeper, Sites: []string{}}, false, false},
		"both":             {Identity{Role: Keeper, Site: "hill", Sites: []string{"lake"}}, false, false},
		"nobody of a site": {Identity{Site: "hill"}, false, false},
	} {
		if c.v.Sees("hill") != c.hill || c.v.SeesAll() != c.all {
			t.Errorf("%s sees hill %t, all %t", name, c.v.Sees("hill"), c.v.SeesAll())
		}
	}
}

// A body is taken up to its bound and refused one byte beyond, whether or not it says how long
// it is; what is brought in whole may be longer, at its own address alone.
func TestBodiesEndAtTheirBounds(t *testing.T) {
	b := opened(t, Settings{Listen: "127.0.0.1:8787"})
	p := b.phone(t)
	size := func(n int) url.Values { return url.Values{"a": {strings.Repeat("x", n-2)}} }
	p.must(200, "POST", "/crew", size(mostBody), nil)
	p.must(413, "POST", "/crew", size(mostBody+1), nil)
	p.must(400, "POST", "/crew", size(mostBody+1), func(r *http.Request) { r.ContentLength = -1 })
	for path, want := range map[string]int{"/api/v1/sites/hill/records/import": 404, "/api/v1/members/import": 404, "/members/import/x": 413,
		"/records": 413} {
		p.must(want, "POST", path, size(mostBody+1), nil)
	}
	p.must(413, "POST", "/api/v1/members/import", size(mostImport+1), nil)
	p.must(500, "GET", "/broken", nil, nil)
}

// Somebody is found by the id or by the name, not by half of either, nor by another's.
func TestPeopleAreFoundByIDOrName(t *testing.T) {
	s := elsewhere
	s.People = append([]Person{{"k1", "Wren Hill", Keeper, nil}}, people...)
	b := opened(t, s)
	b.setUp(t) // of wren
	code := url.Values{"password": {goodPassword}}
	for name, want := range map[string]int{"wren": 200, " WREN ": 200, "Wren": 200, "Wren Hill": 401, "k1": 401, "": 401, "odell": 401} {
		code.Set("person", name)
		b.pass(2 * time.Hour) // nothing waits
		b.phone(t).must(want, "POST", "/login", code, nil)
	}
	if _, err := b.setPassword(t.Context(), b.db, "k1", "five quite plain words"); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]int{"k1": 200, "wren hill": 200, "wren": 401} {
		b.pass(2 * time.Hour)
		b.phone(t).must(want, "POST", "/login", url.Values{"person": {name}, "password": {"five quite plain words"}}, nil)
	}
}

// Ten to two hundred letters, whatever alphabet they are of, and no more bytes than these take.
func TestHowLongAPasswordIs(t *testing.T) {
	for password, want := range map[string]bool{strings.Repeat("x", 9): false, strings.Repeat("x", 10): true, strings.Repeat("x", 200): true,
		strings.Repeat("x", 201): false, strings.Repeat("é", 9): false, strings.Repeat("é", 200): true, strings.Repeat("🍁", 200): true,
		strings.Repeat("🍁", 201): false, "": false} {
		if got := fit(password) == nil; got != want {
			t.Errorf("%d letters: %t", len([]rune(password)), got)
		}
	}
}

// A set-up code has twelve letters, none of them more often than the others, and is never the
// same.
func TestSetUpCodesAreEven(t *testing.T) {
	b := opened(t, elsewhere)
	form := regexp.MustCompile(`^[2-9A-HJKMNP-TV-Z]{4}-[2-9A-HJKMNP-TV-Z]{4}-[2-9A-HJKMNP-TV-Z]{4}$`)
	count, seen := map[rune]int{}, map[string]bool{}
	const codes = 400
	for range codes {
		code, err := b.SetUpCode(t.Context())
		if err != nil || !form.MatchString(code) || seen[code] {
			t.Fatalf("%q %v", code, err)
		}
		seen[code] = true
		for _, c := range strings.ReplaceAll(code, "-", "") {
			count[c]++
		}
	}
	mean := float64(codes*12) / float64(len(codeLetters))
	for _, c := range codeLetters {
		if n := float64(count[c]); n < mean-6*12.7 || n > mean+6*12.7 { // a deviation of such a count is its root
			t.Errorf("%c comes %g times, %g are expected", c, n, mean)
		}
	}
}

// A link lets in until its end and not a minute longer; a device is known until its day, by
// its own mark alone.
func TestLinksAndDevicesEnd(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	token, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "Helper", Role: Crew, Site: "hill", Days: 1}, "wren")
	if err != nil {
		t.Fatal(err)
	}
	b.pass(24*time.Hour - 2*time.Minute)
	b.phone(t).must(200, "POST", "/l/"+token, url.Values{}, nil)
	b.pass(3 * time.Minute)
	b.phone(t).must(401, "POST", "/l/"+token, url.Values{}, nil)
	b.phone(t).must(401, "POST", "/l/"+token[:len(token)-1]+"A", url.Values{}, nil)

	ends := b.clock().AddDate(0, 0, 10)
	id := ends.UTC().Format("20060102") + "-abc"
	mac, err := b.deviceMAC(t.Context(), id, "wren")
	if err != nil {
		t.Fatal(err)
	}
	known := func(value, person string) bool {
		r, err := http.NewRequest("GET", "/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.AddCookie(&http.Cookie{Name: deviceCookie, Value: value})
		return b.deviceOf(t.Context(), r, person) != ""
	}
	if !known(id+"."+mac, "wren") {
		t.Error("a device is not known again")
	}
	for what, c := range map[string][2]string{"another person": {id + "." + mac, "odell"}, "no mark": {id, "wren"}, "an empty one": {id + ".", "wren"},
		"another mark": {id + "." + strings.Repeat("A", len(mac)), "wren"}, "a later end": {"9" + id[1:] + "." + mac, "wren"}, "nothing": {"", "wren"}} {
		if known(c[0], c[1]) {
			t.Errorf("known by %s", what)
		}
	}
	undated := "never-abc"
	if mac, err := b.deviceMAC(t.Context(), undated, "wren"); err != nil || known(undated+"."+mac, "wren") {
		t.Errorf("a device without an end is known, %v", err)
	}
	b.pass(11 * 24 * time.Hour)
	if known(id+"."+mac, "wren") {
		t.Error("a device is known after its end")
	}
}

// Addresses that are remembered are no more than there is room for, and who asks on is not
// forgotten for who has been quiet.
func TestAddressesAreForgotten(t *testing.T) {
	var r rates
	now := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	ask := func(address string, at time.Time) time.Duration { return r.reserve(address, 1, 1, 0, at) }
	for i := range mostKnown - 1 {
		ask(fmt.Sprint("quiet ", i), now)
	}
	later := now.Add(time.Minute + time.Second)
	ask("busy", later)
	if len(r.known) != mostKnown {
		t.Fatalf("%d are known", len(r.known))
	}
	ask("one more", later)
	if len(r.known) != 2 {
		t.Errorf("%d are known once the quiet ones are forgotten", len(r.known))
	}
	if ask("busy", later) == 0 {
		t.Error("who has just asked may ask at once again: it was forgotten")
	}
	for i := range mostKnown - 2 { // all of them busy
		ask(fmt.Sprint("busy ", i), later)
	}
	ask("the last", later)
	if len(r.known) != 1 {
		t.Errorf("%d are known where all were busy", len(r.known))
	}
}

// Whether people come by a provider is what the settings say.
func TestByProvider(t *testing.T) {
	for issuer, want := range map[string]bool{"": false, "https://login.example.org": true} {
		s := elsewhere
		s.Provider.Issuer = issuer
		if got := opened(t, s).ByProvider(); got != want {
			t.Errorf("issuer %q: by provider %t", issuer, got)
		}
	}
}
