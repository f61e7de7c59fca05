package auth

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

// A turn is waited for, unless who asks has gone; nobody waits where none is asked for.
func TestWaitingIsWaited(t *testing.T) {
	gone, leave := context.WithCancel(t.Context())
	leave()
	if err := pause(gone, time.Hour); !errors.Is(err, context.Canceled) {
		t.Errorf("an hour passed at once: %v", err)
	}
	for _, d := range []time.Duration{0, -time.Second} {
		for range 50 { // a coin would fall on both sides
			if err := pause(gone, d); err != nil {
				t.Fatalf("%s: %v", d, err)
			}
		}
	}
}

// Where the house's own key can't be read, no device is known: an empty mark is not the
// mark of a key that is not there.
func TestNoKeyNoDevice(t *testing.T) {
	b := opened(t, elsewhere)
	b.secret = func(context.Context) ([]byte, error) { return nil, errors.New("the disk is gone") }
	for _, value := range []string{"20991231-x.", "20991231-x"} {
		r := httptest.NewRequest("GET", "/", nil)
		r.AddCookie(&http.Cookie{Name: deviceCookie, Value: value})
		if b.deviceOf(t.Context(), r, "wren") != "" {
			t.Errorf("%q is known", value)
		}
	}
}

// Turns are taken one after another from the first that costs something on: who sends many
// guesses at once gets no two of them into one turn.
func TestTurnsAreTakenOneByOne(t *testing.T) {
	var w throttle
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	of := device("d")
	for range freeTries {
		w.wrong(of, now)
	}
	for i := range 5 { // none of them has been found wrong yet
		wait, err := w.turn(of, true, now)
		if err != nil || wait != time.Duration(i+1)*firstTurn {
			t.Errorf("try %d waits %s, %v", i, wait, err)
		}
	}
	for i, want := range []time.Duration{firstTurn, 2 * firstTurn, 4 * firstTurn, longestTurn, longestTurn} {
		if got := apart(i); got != want {
			t.Errorf("%d tries beyond: %s apart, not %s", i, got, want)
		}
	}
	// The longest queue is waited out by who is in it and not a moment more.
	w.known[of[0].key] = tries{wrong: freeTries, last: now, turn: now.Add(longestQueue)}
	if wait, err := w.turn(of, true, now); err != nil || wait != longestQueue {
		t.Errorf("at the end of the queue: %s %v", wait, err)
	}
	w.known[of[0].key] = tries{wrong: freeTries, last: now, turn: now.Add(longestQueue + time.Millisecond)}
	var full ErrThrottled
	if _, err := w.turn(of, true, now); !errors.As(err, &full) || full.For <= longestQueue {
		t.Errorf("beyond it: %v", err)
	}
	if got := w.known[of[0].key].turn; !got.Equal(now.Add(longestQueue + time.Millisecond)) {
		t.Error("who is sent away takes a turn from those who wait")
	}
}

// Wrong tries count for an hour, and one slip after that costs nothing.
func TestWrongTriesAreForgottenAfterAnHour(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	for after, want := range map[time.Duration]bool{forgetTries: true, forgetTries + time.Second: false} {
		var w throttle
		of := device("d")
		for range freeTries {
			w.wrong(of, now)
		}
		w.known[of[0].key] = tries{wrong: freeTries, last: now, turn: now.Add(2 * time.Hour)}
		at := now.Add(after)
		if wait, err := w.turn(of, false, at); err != nil || (wait > 0) != want {
			t.Errorf("%s later: waits %s, %v", after, wait, err)
		}
		w.wrong(of, at)
		if n := w.known[of[0].key].wrong; (n == freeTries+1) != want || !want && n != 1 {
			t.Errorf("%s later: %d wrong tries count", after, n)
		}
		if err := w.tooMany("link", "192.0.2.1", now); err != nil {
			t.Error(err)
		}
		key := "slink\x00192.0.2.1/32"
		w.known[key] = tries{wrong: freeTries, last: now}
		if err := w.tooMany("link", "192.0.2.1", at); (err != nil) != want {
			t.Errorf("secrets %s later: %v", after, err)
		}
		w.known[key] = tries{wrong: freeTries - 1, last: now}
		if err := w.tooMany("link", "192.0.2.1", at); err != nil {
			t.Errorf("a free try: %v", err)
		}
	}
}

// Counts that are remembered are no more than there is room for. What is over is forgotten
// first, and who has just guessed is not forgotten for the room of few others.
func TestGuessesAreRememberedInTurn(t *testing.T) {
	var w throttle
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	w.known = map[string]tries{}
	for i := range mostKnown {
		w.known[strings.Repeat("x", i%7)+time.Duration(i).String()] = tries{wrong: 1, last: now.Add(-forgetTries)}
	}
	w.known["guesser"] = tries{wrong: freeTries, last: now.Add(-time.Minute)}
	if n := len(w.known); n != mostKnown+1 {
		t.Fatal(n)
	}
	w.wrong(device("new"), now)
	if n := len(w.known); n != 2 || w.known["guesser"].wrong != freeTries {
		t.Errorf("%d counts are left, the guesser's %v", n, w.known["guesser"])
	}
	for i := range mostKnown - 2 {
		w.known[time.Duration(i).String()] = tries{wrong: 1, last: now}
	}
	w.wrong(device("one more"), now) // there is room for it
	if n := len(w.known); n != mostKnown+1 {
		t.Errorf("%d counts, and there was room", n)
	}
	w.wrong(device("too many"), now)
	if n := len(w.known); n != mostKnown/2+1 {
		t.Errorf("%d counts are left of fresh ones", n)
	}
}

// IPv6 is counted by the half of an address that a house has, IPv4 by the address, also
// where it is written as the other; what is no address is its own.
func TestNetworksOfAddresses(t *testing.T) {
	for address, want := range map[string][2]string{
		"2001:db8:7:1:2::3": {"2001:db8:7:1::/64", "2001:db8:7::/48"}, "203.0.113.5": {"203.0.113.5/32", "203.0.113.0/24"},
		"::ffff:203.0.113.5": {"203.0.113.5/32", "203.0.113.0/24"}, "fe80::1%eth0": {"fe80::/64", "fe80::/48"}, "@": {"@", "@"},
	} {
		if net, block := network(address); net != want[0] || block != want[1] {
			t.Errorf("%s: %s of %s", address, net, block)
		}
	}
}

// Invitations of many people are made all or none, each is its person's alone, and ends.
func TestManyInvitations(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	invited := []Person{{"odell", "Odell", Crew, nil}, {"ida", "Ida", Viewer, nil}}
	tokens, err := b.MakeLinks(t.Context(), invited, 3, "Wren")
	if err != nil || len(tokens) != 2 {
		t.Fatal(tokens, err)
	}
	for i, person := range invited {
		p := b.phone(t)
		p.must(200, "POST", "/l/"+tokens[i], nil, nil)
		p.must(401, "GET", "/", nil, nil)
		p.must(200, "POST", "/password", url.Values{"password": {"the words of " + person.ID}}, nil)
		if said := p.must(200, "GET", "/", nil, nil); strings.TrimSpace(said) != person.ID+" "+string(person.Role) {
			t.Error(said)
		}
		p.must(401, "POST", "/l/"+tokens[i], nil, nil)
	}
	late, err := b.MakeLinks(t.Context(), invited[:1], 3, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	b.pass(3*24*time.Hour + time.Minute)
	b.phone(t).must(401, "POST", "/l/"+late[0], nil, nil)

	before, err := b.Links(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	b.secret = func(context.Context) ([]byte, error) { // the key goes away in between
		if asked++; asked > 2 {
			return nil, errors.New("the disk is gone")
		}
		return []byte("the key of this installation"), nil
	}
	if _, err := b.MakeLinks(t.Context(), invited, 3, "Wren"); err == nil {
		t.Error("links that can't be signed are made")
	}
	b.secret = func(context.Context) ([]byte, error) { return nil, errors.New("the disk is gone") }
	if _, err := b.MakeLinks(t.Context(), invited, 3, "Wren"); err == nil {
		t.Error("links are made without a key")
	}
	if after, err := b.Links(t.Context()); err != nil || len(after) != len(before) {
		t.Errorf("%d links of what failed are left, %v", len(after)-len(before), err)
	}
	if _, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "x", Role: Crew, Days: 3}, "Wren"); err == nil {
		t.Error("a link is made that nobody can sign")
	}
}

// How long links and tokens may be good for, to the day.
func TestHowLongLinksAndTokensAreGood(t *testing.T) {
	b := opened(t, elsewhere)
	for days, want := range map[int]bool{-1: false, 0: false, 1: true, mostDays: true, mostDays + 1: false} {
		for _, l := range []Link{{Kind: CrewLink, Name: "x", Role: Viewer, Days: days}, {Kind: PasswordLink, Person: "odell", Days: days}} {
			if _, err := b.MakeLink(t.Context(), l, "Wren"); (err == nil) != want {
				t.Errorf("a link for %d days: %v", days, err)
			}
		}
	}
	for days, want := range map[int]bool{0: false, 1: true, mostTokenDays: true, mostTokenDays + 1: false} {
		if _, err := b.MakeToken(t.Context(), Token{Name: "x", Scopes: []Scope{ReadOutlook}, Days: days}, "Wren"); (err == nil) != want {
			t.Errorf("a token for %d days: %v", days, err)
		}
	}
}

// A page that breaks is told as such; one that was left in the middle goes on to be that.
func TestBrokenAndLeftPages(t *testing.T) {
	b := opened(t, Settings{Listen: "127.0.0.1:8787"})
	for what, c := range map[string]struct {
		fault any
		goes  bool
	}{"a text": {"broken", false}, "an error": {errors.New("broken"), false}, "left": {http.ErrAbortHandler, true}} {
		pages := b.Middleware(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(c.fault) }))
		r := httptest.NewRequest("GET", "http://localhost:8787/", nil)
		r.RemoteAddr = "127.0.0.1:1"
		w := httptest.NewRecorder()
		func() {
			defer func() {
				if gone := recover(); (gone != nil) != c.goes {
					t.Errorf("%s: %v goes through", what, gone)
				}
			}()
			pages.ServeHTTP(w, r)
		}()
		if !c.goes && w.Code != 500 {
			t.Errorf("%s: %d", what, w.Code)
		}
	}
}

// Programs are told why as a problem (RFC 9457), people on a page in their words, and what
// no browser sends is answered plainly.
func TestHowRefusalsAreSaid(t *testing.T) {
	b := opened(t, elsewhere)
	b.Faults = func(w http.ResponseWriter, _ *http.Request, status int, key string) {
		w.WriteHeader(status)
		_, _ = w.Write([]byte("a page: " + key))
	}
	const page = "text/html,application/xhtml+xml"
	for _, c := range []struct {
		method, path, accept, authorization string
		problem, page                       bool
	}{
		{"POST", "/crew", page, "", false, true}, {"POST", "/crew", "*/*", "", false, false}, {"POST", "/crew", "", "", false, false},
		{"TRACE", "/crew", page, "", false, false}, {"GET", "/a//b", page, "", false, false},
		{"GET", "/api//who", page, "", true, false}, {"GET", "/keeper", page, "Bearer x", true, false},
		{"POST", "/crew", page, "Basic x", true, false}, {"TRACE", "/api/who", "", "", true, false},
	} {
		r := httptest.NewRequest(c.method, "http://bush.example.org"+c.path, nil)
		r.RemoteAddr = "192.0.2.1:1"
		r.Header.Set("Accept", c.accept)
		if c.authorization != "" {
			r.Header.Set("Authorization", c.authorization)
		}
		w := httptest.NewRecorder()
		b.server.Config.Handler.ServeHTTP(w, r)
		said := w.Body.String()
		if problem := w.Header().Get("Content-Type") == "application/problem+json"; w.Code < 300 || problem != c.problem ||
			strings.HasPrefix(said, "a page: ") != c.page || strings.Contains(said, `"detail"`) != c.problem {
			t.Errorf("%s %s (%s, %s): %d %s", c.method, c.path, c.accept, c.authorization, w.Code, said)
		}
	}
}

// Who is forgotten is logged out everywhere, others stay, and what can't be read is of no
// use to anybody.
func TestForgettingEndsSessions(t *testing.T) {
	b := opened(t, elsewhere)
	wren := b.setUp(t)
	if _, err := b.setPassword(t.Context(), b.db, "odell", goodPassword); err != nil {
		t.Fatal(err)
	}
	odell, again := b.phone(t), b.phone(t)
	for _, p := range []*phone{odell, again} {
		p.must(200, "POST", "/login", words("odell", goodPassword), nil)
		p.must(200, "GET", "/", nil, nil)
	}
	if err := (&sessionStore{b.db, b.now}).Commit("spoilt", []byte("spoilt"), b.clock().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	count := func() (n int) {
		t.Helper()
		if err := b.db.QueryRowContext(t.Context(), `SELECT COUNT(*) FROM web_session`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := count()
	if err := b.Forget(t.Context(), "odell"); err != nil {
		t.Fatal(err)
	}
	odell.must(401, "GET", "/", nil, nil)
	again.must(401, "GET", "/", nil, nil)
	wren.must(200, "GET", "/", nil, nil)
	if left := before - count(); left < 3 {
		t.Errorf("%d sessions are gone, three were to", left)
	}
	// What has ended is dropped from the table, and nothing else is.
	b.pass(time.Minute)
	if err := b.Tidy(t.Context(), b.clock()); err != nil {
		t.Fatal(err)
	}
	wren.must(200, "GET", "/", nil, nil)
	if err := b.Tidy(t.Context(), b.clock().Add(sessionLife+time.Hour)); err != nil || count() != 0 {
		t.Errorf("%d sessions that have ended are left, %v", count(), err)
	}
}

// Set-up is done once a keeper has a password, whoever else has none; and where it can't be
// found out, nobody is let in by the code.
func TestSetUpIsNeededWithoutAKeeper(t *testing.T) {
	b := opened(t, elsewhere)
	needed := func() bool {
		t.Helper()
		is, err := b.SetUpNeeded(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return is
	}
	if _, err := b.setPassword(t.Context(), b.db, "odell", goodPassword); err != nil { // crew
		t.Fatal(err)
	}
	if have, err := b.HaveAccounts(t.Context()); err != nil || !have["odell"] || have["wren"] || !needed() {
		t.Errorf("crew alone have a password: %v, %v", have, err)
	}
	b.setUp(t)
	if have, err := b.HaveAccounts(t.Context()); err != nil || len(have) != 2 || needed() {
		t.Errorf("the keeper has one: %v, %v", have, err)
	}
	if here := opened(t, Settings{Listen: "127.0.0.1:8787"}); here != nil {
		if is, err := here.SetUpNeeded(t.Context()); is || err != nil {
			t.Errorf("where nobody logs in: %t, %v", is, err)
		}
	}
}

// The longest password that may be chosen lets its owner in, in any alphabet.
func TestLongestPasswordLetsIn(t *testing.T) {
	b := opened(t, elsewhere)
	long := strings.Repeat("🍁", longestPassword)
	if _, err := b.setPassword(t.Context(), b.db, "wren", long); err != nil {
		t.Fatal(err)
	}
	b.phone(t).must(401, "POST", "/login", words("wren", long+"x"), nil)
	b.phone(t).must(200, "POST", "/login", words("wren", long), nil)
}

// Who logs out is out on every copy of what the browser kept.
func TestLoggingOutEndsTheSession(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	w := b.knock("192.0.2.30:1", "POST", "/login", words("wren", goodPassword), "")
	var kept []string
	for _, c := range w.Result().Cookies() {
		kept = append(kept, c.Name+"="+c.Value)
	}
	ask := func(path string) int {
		t.Helper()
		r := httptest.NewRequest("GET", "http://bush.example.org"+path, nil)
		r.RemoteAddr = "192.0.2.30:1"
		r.Header.Set("Cookie", strings.Join(kept, "; "))
		w := httptest.NewRecorder()
		b.Middleware(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			switch {
			case r.URL.Path == "/logout":
				if err := b.Logout(r); err != nil {
					t.Error(err)
				}
			case From(r.Context()).Role == Nobody:
				w.WriteHeader(http.StatusUnauthorized)
			}
		})).ServeHTTP(w, r)
		return w.Code
	}
	if got := []int{ask("/"), ask("/logout"), ask("/")}; got[0] != 200 || got[1] != 200 || got[2] != 401 {
		t.Errorf("before, at and after: %v", got)
	}
}

// What is for this machine alone is neither for another nor for whom a proxy here lets
// through.
func TestOnlyThisMachineIsHere(t *testing.T) {
	for _, c := range []struct {
		from, header string
		here         bool
	}{{"127.0.0.1:1", "", true}, {"[::1]:1", "", true}, {"127.0.0.1:1", "X-Forwarded-For", false}, {"192.0.2.1:1", "", false},
		{"192.0.2.1:1", "Via", false}, {"", "", false}} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.from
		if c.header != "" {
			r.Header.Set(c.header, "x")
		}
		if got := FromHere(r); got != c.here {
			t.Errorf("%+v: %t", c, got)
		}
	}
}

// A bush may have a space in its name; what browsers and proxies read in different ways has
// none of it.
func TestPathsThatAreClean(t *testing.T) {
	for path, want := range map[string]bool{"/site/north hill": true, "/": true, "/a.b/c..d": true, "/\x1f": false, "/\x7f": false, "/\n": false,
		"/a//b": false, "/a/../b": false, "/a/.": false, "/a\\b": false} {
		if cleanPath(path) != want {
			t.Errorf("%q is clean: %t", path, !want)
		}
	}
}
