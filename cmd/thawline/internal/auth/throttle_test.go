package auth

import (
	"context"
	"fmt"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"
)

// knock asks from any address, with the cookies given, as no client on this machine can.
func (b *bush) knock(from, method, path string, form url.Values, cookies string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://bush.example.org"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.RemoteAddr = from
	if cookies != "" {
		r.Header.Set("Cookie", cookies)
	}
	w := httptest.NewRecorder()
	b.server.Config.Handler.ServeHTTP(w, r)
	return w
}

func words(person, password string) url.Values {
	return url.Values{"person": {person}, "password": {password}}
}

// deviceOfPhone is the cookie by which a phone is known.
func deviceOfPhone(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	for _, c := range w.Result().Cookies() {
		if c.Name == deviceCookie {
			if !c.HttpOnly || c.Value == "" {
				t.Errorf("the device's cookie: %s", c)
			}
			return c.Name + "=" + c.Value
		}
	}
	t.Fatal("the phone is not known again")
	return ""
}

// Who guesses in one place waits longer each time; who knows the password there waits
// with them, and is let in.
func TestGuessingWaits(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	const from = "192.0.2.9:1"
	began := b.clock()
	for i := range freeTries {
		if w := b.knock(from, "POST", "/login", words("wren", fmt.Sprint("guess number ", i)), ""); w.Code != 401 {
			t.Fatalf("try %d: %d", i, w.Code)
		}
	}
	if !b.clock().Equal(began) {
		t.Error("the first slips of a finger cost time")
	}
	var waited []time.Duration
	for i := range 5 {
		began := b.clock()
		if w := b.knock(from, "POST", "/login", words("wren", fmt.Sprint("further guess ", i)), ""); w.Code != 401 {
			t.Errorf("further try %d: %d", i, w.Code)
		}
		waited = append(waited, b.clock().Sub(began))
	}
	if waited[0] != firstTurn || waited[4] != longestTurn {
		t.Errorf("waited %v", waited)
	}
	if w := b.knock(from, "POST", "/login", words("Wren", goodPassword), ""); w.Code != 200 {
		t.Errorf("the right password after wrong ones: %d", w.Code)
	}
	began = b.clock()
	if w := b.knock(from, "POST", "/login", words("wren", "a slip of the finger"), ""); w.Code != 401 || !b.clock().Equal(began) {
		t.Errorf("after the right one: %d, waited %s", w.Code, b.clock().Sub(began))
	}
	of := stranger("wren", "192.0.2.9")
	for i := range 3 * mostKnown {
		b.throttle.wrong([]counted{{fmt.Sprint(i), 1}}, b.clock())
	}
	b.throttle.wrong(of, b.clock())
	if n := len(b.throttle.known); n > 2*mostKnown {
		t.Errorf("%d counts remembered", n)
	}
}

// A flood of guesses at once from one network is sent away; the same person gets in from
// anywhere else and on the phone that is known, without waiting, even within that network.
func TestGuessingFromOneNetworkKeepsNobodyOut(t *testing.T) {
	for name, at := range map[string]func(i int) string{
		"one house of IPv6":       func(i int) string { return fmt.Sprintf("2001:db8:7:1:%x::1", i) },
		"one provider's customer": func(i int) string { return fmt.Sprintf("2001:db8:7:%x::1", i) },
		"one address":             func(int) string { return "203.0.113.5" },
		"one old block":           func(i int) string { return fmt.Sprintf("203.0.113.%d", i%250+1) },
	} {
		t.Run(name, func(t *testing.T) {
			var w throttle
			now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
			let, sent := 0, 0
			for i := range 2000 { // all at once: nobody's turn comes meanwhile
				of := stranger("wren", at(i))
				if _, err := w.turn(of, true, now); err != nil {
					sent++
					continue
				}
				let++
				w.wrong(of, now)
			}
			if let > freeForBlock+int(longestQueue/firstTurn) || sent == 0 {
				t.Errorf("%d guesses are compared, %d sent away", let, sent)
			}
			for who, of := range map[string][]counted{"elsewhere": stranger("wren", "198.51.100.77"),
				"elsewhere, IPv6": stranger("wren", "2001:db8:8:1::1"), "the known phone": device("20270101-x")} {
				if wait, err := w.turn(of, true, now); err != nil || wait != 0 {
					t.Errorf("%s: waits %s, %v", who, wait, err)
				}
			}
			// Behind a proxy that names nobody none is sent away.
			if wait, err := w.turn(stranger("wren", at(1)), false, now); err != nil || wait > longestQueue {
				t.Errorf("behind a proxy: waits %s, %v", wait, err)
			}
		})
	}
}

// While a whole /48 guesses with all it has, the right password on a known phone gets in
// within two seconds of a real clock.
func TestKnownPhoneUnderAttack(t *testing.T) {
	if testing.Short() {
		t.Skip("the race detector makes a password take a second")
	}
	b := opened(t, elsewhere)
	stop := make(chan struct{})
	b.pause = func(ctx context.Context, d time.Duration) error {
		ctx, cancel := context.WithCancel(ctx)
		go func() {
			select {
			case <-stop:
			case <-ctx.Done():
			}
			cancel()
		}()
		return pause(ctx, d)
	}
	b.setUp(t)
	known := deviceOfPhone(t, b.knock("192.0.2.30:1", "POST", "/login", words("wren", goodPassword), ""))
	var attack sync.WaitGroup
	for i := range 12 {
		attack.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
					b.knock(fmt.Sprintf("[2001:db8:7:%x::1]:1", i*1000+n), "POST", "/login", words("wren", "a guess of theirs"), "")
				}
			}
		})
	}
	time.Sleep(200 * time.Millisecond) // until the places for strangers are taken
	began := time.Now()
	w := b.knock("[2001:db8:7:77::2]:1", "POST", "/login", words("wren", goodPassword), known)
	took := time.Since(began)
	close(stop)
	if w.Code != 200 || took > 2*time.Second {
		t.Errorf("%d after %s", w.Code, took)
	}
	t.Logf("let in after %s", took)
	attack.Wait()
}

// What makes a device known is the house's own, for one person, and ends.
func TestDeviceCookieIsNotForged(t *testing.T) {
	b := opened(t, elsewhere)
	b.setUp(t)
	known := deviceOfPhone(t, b.knock("192.0.2.30:1", "POST", "/login", words("wren", goodPassword), ""))
	of := func(cookie, person string) string {
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("Cookie", cookie)
		return b.deviceOf(t.Context(), r, person)
	}
	if of(known, "wren") == "" {
		t.Error("the phone is not known")
	}
	other := "A"
	if strings.HasSuffix(known, other) {
		other = "B"
	}
	for what, c := range map[string][2]string{"another person": {known, "odell"},
		"a changed end": {strings.Replace(known, "=2", "=3", 1), "wren"}, "nothing": {deviceCookie + "=", "wren"},
		"no key": {deviceCookie + "=20990101-x", "wren"}, "a changed key": {known[:len(known)-2] + other + known[len(known)-1:], "wren"}} {
		if of(c[0], c[1]) != "" {
			t.Errorf("%s: is known", what)
		}
	}
	if w := b.knock("192.0.2.30:1", "GET", "/", nil, known); w.Code != 401 {
		t.Errorf("a known device alone is let in: %d", w.Code)
	}
	b.pass(deviceLife + 24*time.Hour)
	if of(known, "wren") != "" {
		t.Error("known for ever")
	}
	// Guesses on it wait too.
	again := deviceOfPhone(t, b.knock("192.0.2.30:1", "POST", "/login", words("wren", goodPassword), ""))
	began := b.clock()
	for i := range freeTries + 2 {
		b.knock(fmt.Sprintf("192.0.2.%d:1", i+40), "POST", "/login", words("wren", "a thief's guess"), again)
	}
	if b.clock().Equal(began) {
		t.Error("who has the phone guesses as fast as they like")
	}
}

// Wrong tokens, links and set-up codes from an address cost those who send them and
// nobody else there.
func TestWrongSecretsKeepNobodyOut(t *testing.T) {
	b := opened(t, elsewhere)
	const from = "[2001:db8:1:2::3]:1"
	code, err := b.SetUpCode(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	setUp := func(code string) int {
		return b.knock(from, "POST", "/setup", url.Values{"code": {code}, "person": {"wren"}, "password": {goodPassword}}, "").Code
	}
	token, err := b.MakeToken(t.Context(), Token{Name: "lamp", Scopes: []Scope{ReadOutlook}, Site: "hill", Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	link, err := b.MakeLink(t.Context(), Link{Kind: CrewLink, Name: "helpers", Role: Crew, Days: 3}, "Wren")
	if err != nil {
		t.Fatal(err)
	}
	bearer := func(text string) int {
		r := httptest.NewRequest("GET", "http://bush.example.org/api/who", nil)
		r.Header.Set("Authorization", "Bearer "+text)
		r.RemoteAddr = from
		w := httptest.NewRecorder()
		b.server.Config.Handler.ServeHTTP(w, r)
		return w.Code
	}
	for _, c := range []struct {
		what string
		try  func(right bool) int
	}{
		{"token", func(right bool) int { return bearer(map[bool]string{true: token, false: "thawline_wrong"}[right]) }},
		{"link", func(right bool) int {
			return b.knock(from, "POST", "/l/"+map[bool]string{true: link, false: "wrong"}[right], nil, "").Code
		}},
		{"code", func(right bool) int { return setUp(map[bool]string{true: code, false: "2222-2222-2222"}[right]) }},
	} {
		var said []int
		for range 8 {
			said = append(said, c.try(false))
		}
		if said[0] != 401 || said[7] != 429 {
			t.Errorf("wrong %ss: %v", c.what, said)
		}
		if got := c.try(true); got != 200 {
			t.Errorf("the right %s after wrong ones: %d", c.what, got)
		}
	}
	if w := b.knock(from, "POST", "/login", words("wren", goodPassword), ""); w.Code != 200 {
		t.Errorf("the right password after wrong tokens, links and codes: %d", w.Code)
	}
}

// A whole association answers through one gateway at once.
func TestGatewayHandsOnAll(t *testing.T) {
	b := opened(t, elsewhere)
	for i := range 1000 {
		if w := b.knock("192.0.2.44:1", "POST", "/in/whatever", nil, ""); w.Code == 429 {
			t.Fatalf("reply %d is refused", i)
		}
	}
}
